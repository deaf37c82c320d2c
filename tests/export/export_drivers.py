"""Programs around the exported ones, by language: they read lines, call the routine and print what it said.

Drivers live here, never in what is exported.
"""

from __future__ import annotations

JAVA_ONE = """
    static final class Drive%(name)s implements Drive {
        %(name)s r;
        public void reset(double t, long c, String zero) {
            r = new %(name)s(t, c);
            if (!zero.equals("-")) { r.reset(t, c, Double.parseDouble(zero)); }
        }
        public void step(double t, boolean reading, long c, boolean start, StringBuilder out) {
            %(name)s.Output o = r.step(t, reading, c, start);
            out.append(o.phase.ordinal()).append(' ').append(o.order.ordinal()).append(' ').append(o.command);
            out.append(' ').append(o.zeroKnown ? 1 : 0).append(' ').append(o.zeroCounts).append(' ');
            out.append(o.heightMm).append(' ').append(o.reason.ordinal()).append('\\n');
        }
        public void texts(StringBuilder out) {
            for (%(name)s.Phase p : %(name)s.Phase.values()) { out.append(p.text).append('\\n'); }
            for (%(name)s.Reason q : %(name)s.Reason.values()) { out.append(q.text).append('\\n'); }
        }
    }
"""
JAVA = """
import java.io.*;
public class Driver {
    interface Drive {
        void reset(double t, long c, String zero);
        void step(double t, boolean reading, long c, boolean start, StringBuilder out);
        void texts(StringBuilder out);
    }
    %(each)s
    public static void main(String[] arguments) throws IOException {
        Drive[] drives = {%(all)s};
        Drive drive = drives[0];
        BufferedReader in = new BufferedReader(new InputStreamReader(System.in));
        PrintStream print = new PrintStream(new FileOutputStream(FileDescriptor.out), false);
        StringBuilder out = new StringBuilder();
        boolean live = arguments.length > 0;
        for (String line = in.readLine(); line != null; line = in.readLine()) {
            String[] w = line.split(" ");
            if (w[0].equals("R")) {
                drive = drives[Integer.parseInt(w[1])];
                drive.reset(Double.parseDouble(w[2]), Long.parseLong(w[3]), w[4]);
            } else if (w[0].equals("T")) {
                drives[Integer.parseInt(w[1])].texts(out);
            } else {
                boolean reading = w[2].equals("1"), start = w[4].equals("1");
                drive.step(Double.parseDouble(w[1]), reading, Long.parseLong(w[3]), start, out);
            }
            if (live || out.length() > 60000) { print.print(out); print.flush(); out.setLength(0); }
        }
        print.print(out);
        print.flush();
    }
}
"""
CPP = """
%(includes)s
#include <cstdio>
#include <cstring>
#include <memory>
struct Drive {
    virtual ~Drive() = default;
    virtual void reset(double t, std::int64_t c, const char* zero) = 0;
    virtual void step(double t, bool reading, std::int64_t c, bool start) = 0;
    virtual void texts() = 0;
};
template <class R, class P, class Q, P (*info)(int), Q (*why)(int), int phases, int reasons>
struct One : Drive {
    std::unique_ptr<R> r;
    void reset(double t, std::int64_t c, const char* zero) override {
        r = std::make_unique<R>(t, c);
        if (std::strcmp(zero, "-") != 0) { r->reset(t, c, std::strtod(zero, nullptr)); }
    }
    void step(double t, bool reading, std::int64_t c, bool start) override {
        const auto o = r->step(t, reading, c, start);
        const int phase = static_cast<int>(o.phase), order = static_cast<int>(o.order);
        std::printf("%%d %%d %%.17g %%d %%.17g %%.17g %%d\\n", phase, order, o.command, o.zero_known ? 1 : 0,
                    o.zero_counts, o.height_mm, static_cast<int>(o.reason));
    }
    void texts() override {
        for (int i = 0; i < phases; ++i) { std::puts(info(i)); }
        for (int i = 0; i < reasons; ++i) { std::puts(why(i)); }
    }
};
%(texts)s
int main(int argc, char**) {
    std::unique_ptr<Drive> drives[] = {%(all)s};
    Drive* drive = drives[0].get();
    char line[256], zero[64];
    while (std::fgets(line, sizeof line, stdin) != nullptr) {
        double t; long long c; int k, reading, start;
        if (std::sscanf(line, "R %%d %%lf %%lld %%63s", &k, &t, &c, zero) == 4) {
            drive = drives[k].get();
            drive->reset(t, c, zero);
        } else if (std::sscanf(line, "T %%d", &k) == 1) {
            drives[k]->texts();
        } else if (std::sscanf(line, "S %%lf %%d %%lld %%d", &t, &reading, &c, &start) == 4) {
            drive->step(t, reading == 1, c, start == 1);
        }
        if (argc > 1) { std::fflush(stdout); }
    }
}
"""
CPP_TEXTS = """
static const char* phase_%(name)s(int i) { return %(name)s::info(static_cast<%(name)s::Phase>(i)).text; }
static const char* reason_%(name)s(int i) { return %(name)s::text(static_cast<%(name)s::Reason>(i)); }
"""
CPP_ONE = (
    "std::make_unique<One<%(name)s::Routine, const char*, const char*, phase_%(name)s, reason_%(name)s, "
    "%(phases)d, %(reasons)d>>()"
)
PYTHON = """
import importlib, sys
modules = [importlib.import_module(name) for name in %(names)r]
out = []
for line in sys.stdin:
    w = line.split()
    if w[0] == "R":
        module = modules[int(w[1])]
        phases, orders = list(module.Phase), list(module.Order)
        routine = module.Routine(float(w[2]), int(w[3]))
        if w[4] != "-":
            routine.reset(float(w[2]), int(w[3]), float(w[4]))
    elif w[0] == "T":
        out += [each.text for each in (*modules[int(w[1])].Phase, *modules[int(w[1])].Reason)]
    else:
        o = routine.step(float(w[1]), w[2] == "1", int(w[3]), w[4] == "1")
        out.append(f"{phases.index(o.phase)} {orders.index(o.order)} {o.command!r} {int(o.zero_known)} "
                   f"{o.zero_counts!r} {o.height_mm!r} {o.reason.number}")
    if len(sys.argv) > 1 or len(out) > 1000:
        print(*out, sep="\\n", end="\\n" if out else "", flush=True)
        out.clear()
print(*out, sep="\\n", end="\\n" if out else "")
"""
