/*
 * A retract-and-zero routine as a program of its own, for the built-in example lift (invented data).
 *
 *   javac -d build examples/programs/LiftRoutine.java
 *   downstop verify --program "java -cp build LiftRoutine"
 *
 * One line of JSON comes in for every loop and one goes out. With a word as argument it shows an error that
 * people really make: overwritten, edge-start, zero-moving, both-blocked (see lift_routine.py).
 * First run on a robot: low power, short travel, a soft block, hands off. The hard stops must hold alone.
 */
import java.io.BufferedReader;
import java.io.IOException;
import java.io.InputStreamReader;
import java.io.PrintStream;
import java.nio.charset.StandardCharsets;
import java.util.Locale;

public final class LiftRoutine {
    enum State { IDLE, LOOK, LIFT, DOWN, REST, LEAVE, CREEP, SETTLE, HOME, FAULT }

    static final double COUNTS_PER_MM = 3.1546; // of the built-in example: downstop export --as table
    static final double FAST = 160, SLOW = 30; // mm/s
    static final double FIRST_LIFT = 45, BACK_OFF = 10, LEAVE_LIMIT = 150, CREEP_LIMIT = 45, GUARD = 700; // mm
    static final double LOOK_S = 0.2, STILL_S = 0.15, STANDING_S = 0.5, TIMEOUT_S = 9;
    static final int RETRIES = 2;

    final String flaw;
    State state;
    String reason;
    Long zero;
    double since, stillSince;
    long entry, last, stillCounts, madeCounts, edge;
    boolean wasMade;
    int madeRun, retries;

    LiftRoutine(String flaw) {
        this.flaw = flaw;
        reset();
    }

    void reset() {
        state = State.IDLE;
        reason = null;
        zero = null;
        since = stillSince = 0;
        entry = last = stillCounts = madeCounts = edge = 0;
        wasMade = false;
        madeRun = retries = 0;
    }

    void go(State next, double t, long counts) {
        state = next;
        since = stillSince = t;
        entry = stillCounts = madeCounts = counts;
    }

    void fault(String why, double t, long counts) {
        go(State.FAULT, t, counts);
        reason = why;
    }

    double speed() {
        switch (state) {
            case LIFT: case LEAVE: return SLOW;
            case DOWN: return -FAST;
            case CREEP: return -SLOW;
            default: return 0;
        }
    }

    void step(double t, boolean start, boolean made, long counts) {
        zero = null;
        madeRun = made ? madeRun + 1 : 0;
        if (made) madeCounts = counts;
        if (Math.abs(counts - stillCounts) > 1) {
            stillCounts = counts;
            stillSince = t;
        }
        think(t, start, made, counts);
        wasMade = made;
        last = counts;
    }

    void think(double t, boolean start, boolean made, long counts) {
        double moved = Math.abs(counts - entry) / COUNTS_PER_MM;
        double stands = t - Math.max(since, stillSince);
        if (speed() != 0) {
            if (t - since > TIMEOUT_S) { fault("phase took too long", t, counts); return; }
            if (moved > GUARD) { fault("moved further than the lift is long", t, counts); return; }
            if (stands > STANDING_S && state != State.LIFT) {
                fault("told to move, but the counts stand still", t, counts);
                return;
            }
        }
        switch (state) {
            case IDLE:
                if (start) go(flaw.equals("edge-start") ? State.DOWN : State.LOOK, t, counts);
                break;
            case LOOK:
                if (t - since > LOOK_S) go(made ? State.LEAVE : State.LIFT, t, counts);
                break;
            case LIFT:
                if (madeRun >= 2) go(State.LEAVE, t, counts);
                else if (moved > FIRST_LIFT || stands > STANDING_S) go(State.DOWN, t, counts);
                break;
            case DOWN:
                if (made && flaw.equals("zero-moving")) {
                    zero = counts;
                    go(State.HOME, t, counts);
                } else if (made && !(flaw.equals("edge-start") && wasMade)) {
                    go(State.REST, t, counts);
                }
                break;
            case REST:
                if (stands > STILL_S) {
                    if (made) go(State.LEAVE, t, counts);
                    else if (retries++ < RETRIES) go(State.LIFT, t, counts);
                    else fault("the reading does not last at standstill", t, counts);
                }
                break;
            case LEAVE:
                if (!made && (counts - madeCounts) / COUNTS_PER_MM >= BACK_OFF) go(State.CREEP, t, counts);
                else if (moved > LEAVE_LIMIT) fault("the sensor does not let go", t, counts);
                break;
            case CREEP:
                if (made) {
                    edge = Math.round(0.5 * (counts + last));
                    go(State.SETTLE, t, counts);
                } else if (moved > CREEP_LIMIT) fault("the edge was not found again", t, counts);
                break;
            case SETTLE:
                if (stands > STILL_S) {
                    if (madeRun >= 2) {
                        zero = edge;
                        go(State.HOME, t, counts);
                    } else fault("the reading does not last at standstill", t, counts);
                }
                break;
            default:
                break;
        }
    }

    String answer() {
        double speed = speed();
        String stop = speed != 0 ? "null" : state == State.FAULT ? "\"open\"" : "\"hold\"";
        if (flaw.equals("overwritten") && state == State.REST) {
            speed = -FAST; // the line further down that nobody looked at
            stop = "null";
        }
        if (flaw.equals("both-blocked") && wasMade) {
            speed = 0;
            stop = "\"hold\"";
        }
        return "{\"command\": " + speed + ", \"stop\": " + stop + ", \"state\": \""
            + state.name().toLowerCase(Locale.ROOT) + "\", \"zero_at_counts\": " + zero + ", \"done\": "
            + (state == State.HOME) + ", \"fault\": " + (reason == null ? "null" : "\"" + reason + "\"") + "}";
    }

    /** The text of a value in a flat line of JSON; enough for the lines that come in here. */
    static String value(String line, String key) {
        int at = line.indexOf("\"" + key + "\":");
        if (at < 0) return null;
        int from = at + key.length() + 3;
        int to = from;
        while (to < line.length() && ",}".indexOf(line.charAt(to)) < 0) to++;
        return line.substring(from, to).trim();
    }

    public static void main(String[] arguments) throws IOException {
        LiftRoutine routine = new LiftRoutine(arguments.length > 0 ? arguments[0] : "");
        BufferedReader in = new BufferedReader(new InputStreamReader(System.in, StandardCharsets.UTF_8));
        PrintStream out = new PrintStream(System.out, false, "UTF-8");
        for (String line = in.readLine(); line != null; line = in.readLine()) {
            if (value(line, "reset") != null) {
                routine.reset();
                continue;
            }
            routine.step(Double.parseDouble(value(line, "t_s")), value(line, "start").equals("true"),
                value(line, "bottom").equals("true"), Long.parseLong(value(line, "counts")));
            out.print(routine.answer() + "\n");
            out.flush();
        }
    }
}
