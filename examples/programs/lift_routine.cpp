// A retract-and-zero routine as a program of its own, for the built-in example lift (invented data).
//
//   g++ -std=c++17 -O2 -o lift_routine examples/programs/lift_routine.cpp
//   downstop verify --program ./lift_routine
//
// One line of JSON comes in for every loop and one goes out. With a word as argument it shows an error that
// people really make: overwritten, edge-start, zero-moving, both-blocked (see lift_routine.py).
// First run on a robot: low power, short travel, a soft block, hands off. The hard stops must hold alone.
#include <cmath>
#include <cstdlib>
#include <iostream>
#include <string>

namespace {

constexpr double kCountsPerMm = 3.1546;  // of the built-in example: downstop export --as table
constexpr double kFast = 160, kSlow = 30;  // mm/s
constexpr double kFirstLift = 45, kBackOff = 10, kLeaveLimit = 150, kCreepLimit = 45, kGuard = 700;  // mm
constexpr double kLookS = 0.2, kStillS = 0.15, kStandingS = 0.5, kTimeoutS = 9;
constexpr int kRetries = 2;

enum class State { idle, look, lift, down, rest, leave, creep, settle, home, fault };
const char* const kNames[] = {"idle", "look", "lift", "down", "rest", "leave", "creep", "settle", "home", "fault"};

class Routine {
 public:
  explicit Routine(std::string flaw) : flaw_(std::move(flaw)) {}

  void reset() { *this = Routine(flaw_); }

  void step(double t, bool start, bool made, long counts) {
    zero_set_ = false;
    made_run_ = made ? made_run_ + 1 : 0;
    if (made) made_counts_ = counts;
    if (std::labs(counts - still_counts_) > 1) {
      still_counts_ = counts;
      still_since_ = t;
    }
    think(t, start, made, counts);
    was_made_ = made;
    last_ = counts;
  }

  std::string answer() const {
    double command = speed();
    std::string stop = command != 0 ? "null" : state_ == State::fault ? "\"open\"" : "\"hold\"";
    if (flaw_ == "overwritten" && state_ == State::rest) {
      command = -kFast;  // the line further down that nobody looked at
      stop = "null";
    }
    if (flaw_ == "both-blocked" && was_made_) {
      command = 0;
      stop = "\"hold\"";
    }
    return "{\"command\": " + std::to_string(command) + ", \"stop\": " + stop + ", \"state\": \"" +
           kNames[static_cast<int>(state_)] + "\", \"zero_at_counts\": " +
           (zero_set_ ? std::to_string(zero_) : "null") + ", \"done\": " +
           (state_ == State::home ? "true" : "false") + ", \"fault\": " +
           (reason_.empty() ? "null" : "\"" + reason_ + "\"") + "}";
  }

 private:
  double speed() const {
    switch (state_) {
      case State::lift:
      case State::leave: return kSlow;
      case State::down: return -kFast;
      case State::creep: return -kSlow;
      default: return 0;
    }
  }

  void go(State next, double t, long counts) {
    state_ = next;
    since_ = still_since_ = t;
    entry_ = still_counts_ = made_counts_ = counts;
  }

  void fault(const char* why, double t, long counts) {
    go(State::fault, t, counts);
    reason_ = why;
  }

  void zero(long counts) {
    zero_ = counts;
    zero_set_ = true;
  }

  void think(double t, bool start, bool made, long counts) {
    const double moved = static_cast<double>(std::labs(counts - entry_)) / kCountsPerMm;
    const double stands = t - std::fmax(since_, still_since_);
    if (speed() != 0) {
      if (t - since_ > kTimeoutS) return fault("phase took too long", t, counts);
      if (moved > kGuard) return fault("moved further than the lift is long", t, counts);
      if (stands > kStandingS && state_ != State::lift)
        return fault("told to move, but the counts stand still", t, counts);
    }
    switch (state_) {
      case State::idle:
        if (start) go(flaw_ == "edge-start" ? State::down : State::look, t, counts);
        break;
      case State::look:
        if (t - since_ > kLookS) go(made ? State::leave : State::lift, t, counts);
        break;
      case State::lift:
        if (made_run_ >= 2) go(State::leave, t, counts);
        else if (moved > kFirstLift || stands > kStandingS) go(State::down, t, counts);
        break;
      case State::down:
        if (made && flaw_ == "zero-moving") {
          zero(counts);
          go(State::home, t, counts);
        } else if (made && !(flaw_ == "edge-start" && was_made_)) {
          go(State::rest, t, counts);
        }
        break;
      case State::rest:
        if (stands > kStillS) {
          if (made) go(State::leave, t, counts);
          else if (retries_++ < kRetries) go(State::lift, t, counts);
          else fault("the reading does not last at standstill", t, counts);
        }
        break;
      case State::leave:
        if (!made && static_cast<double>(counts - made_counts_) / kCountsPerMm >= kBackOff)
          go(State::creep, t, counts);
        else if (moved > kLeaveLimit) fault("the sensor does not let go", t, counts);
        break;
      case State::creep:
        if (made) {
          edge_ = std::lround(0.5 * static_cast<double>(counts + last_));
          go(State::settle, t, counts);
        } else if (moved > kCreepLimit) fault("the edge was not found again", t, counts);
        break;
      case State::settle:
        if (stands > kStillS) {
          if (made_run_ >= 2) {
            zero(edge_);
            go(State::home, t, counts);
          } else fault("the reading does not last at standstill", t, counts);
        }
        break;
      default: break;
    }
  }

  std::string flaw_;
  State state_ = State::idle;
  std::string reason_;
  bool zero_set_ = false, was_made_ = false;
  double since_ = 0, still_since_ = 0;
  long zero_ = 0, entry_ = 0, last_ = 0, still_counts_ = 0, made_counts_ = 0, edge_ = 0;
  int made_run_ = 0, retries_ = 0;
};

// The text of a value in a flat line of JSON; enough for the lines that come in here.
std::string value(const std::string& line, const std::string& key) {
  const auto at = line.find("\"" + key + "\":");
  if (at == std::string::npos) return "";
  const auto from = at + key.size() + 3;
  return line.substr(from, line.find_first_of(",}", from) - from);
}

}  // namespace

int main(int count, char** arguments) {
  Routine routine(count > 1 ? arguments[1] : "");
  for (std::string line; std::getline(std::cin, line);) {
    if (!value(line, "reset").empty()) {
      routine.reset();
      continue;
    }
    routine.step(std::strtod(value(line, "t_s").c_str(), nullptr), value(line, "start") == "true",
                 value(line, "bottom") == "true", std::strtol(value(line, "counts").c_str(), nullptr, 10));
    std::cout << routine.answer() << std::endl;
  }
}
