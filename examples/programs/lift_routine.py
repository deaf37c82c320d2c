"""A retract-and-zero routine as a program of its own, for the built-in example lift (invented data).

    downstop verify --program "python3 examples/programs/lift_routine.py"

One line of JSON comes in for every loop and one goes out. With a word after its name it shows an error
that people really make; ``downstop verify`` finds each of them:

    overwritten    the stop at the sensor is written over later in the same loop
    edge-start     stops only when the reading changes: a start on the sensor drives into the stop
    zero-moving    sets zero on the first made reading, while the lift still moves
    both-blocked   blocks both directions while the sensor is made: the lift cannot leave it

It advises nobody to run it as it is: the first run on a robot needs low power, a short travel, a soft block
under the carriage and hands off. The hard stops must hold alone.
"""

import json
import sys

COUNTS_PER_MM = 3.1546  # of the built-in example: downstop export --as table tells yours
FAST, SLOW = 160.0, 30.0  # mm/s
FIRST_LIFT, BACK_OFF, LEAVE_LIMIT, CREEP_LIMIT, GUARD = 45.0, 10.0, 150.0, 45.0, 700.0  # mm
LOOK_S, STILL_S, STANDING_S, TIMEOUT_S = 0.2, 0.15, 0.5, 9.0
SPEED = {"lift": SLOW, "down": -FAST, "leave": SLOW, "creep": -SLOW}
RETRIES = 2


class Routine:
    """The state machine; ``step`` is one loop."""

    def __init__(self, flaw=""):
        self.flaw = flaw
        self.reset()

    def reset(self):
        self.state, self.reason, self.zero = "idle", None, None
        self.since = self.still_since = 0.0
        self.entry = self.counts = self.still_counts = self.made_counts = 0
        self.made = False
        self.made_run = self.retries = 0
        self.edge = None

    def go(self, state, t, counts, reason=None):
        self.state, self.since, self.entry, self.reason = state, t, counts, reason
        self.still_since, self.still_counts, self.made_counts = t, counts, counts

    def step(self, t, start, made, counts):
        self.zero = None
        was_made, last_counts = self.made, self.counts
        self.made_run = self.made_run + 1 if made else 0
        if made:
            self.made_counts = counts
        if abs(counts - self.still_counts) > 1:
            self.still_counts, self.still_since = counts, t
        self.think(t, start, made, was_made, counts, last_counts)
        self.made, self.counts = made, counts

    def think(self, t, start, made, was_made, counts, last_counts):
        moved = abs(counts - self.entry) / COUNTS_PER_MM
        if self.state in SPEED:
            if t - self.since > TIMEOUT_S:
                return self.go("fault", t, counts, "phase took too long")
            if moved > GUARD:
                return self.go("fault", t, counts, "moved further than the lift is long")
            stands = t - max(self.since, self.still_since) > STANDING_S
            if stands and self.state != "lift":
                return self.go("fault", t, counts, "told to move, but the counts stand still")
        return getattr(self, self.state)(t, start, made, was_made, counts, last_counts, moved)

    def idle(self, t, start, made, was_made, counts, last_counts, moved):
        if start:
            self.go("down" if self.flaw == "edge-start" else "look", t, counts)

    def look(self, t, start, made, was_made, counts, last_counts, moved):
        if t - self.since > LOOK_S:
            self.go("leave" if made else "lift", t, counts)

    def lift(self, t, start, made, was_made, counts, last_counts, moved):
        if self.made_run >= 2:
            self.go("leave", t, counts)
        elif moved > FIRST_LIFT or t - max(self.since, self.still_since) > STANDING_S:
            self.go("down", t, counts)

    def down(self, t, start, made, was_made, counts, last_counts, moved):
        if made and self.flaw == "zero-moving":
            self.zero = counts
            self.go("home", t, counts)
        elif made and not (self.flaw == "edge-start" and was_made):
            self.go("rest", t, counts)

    def rest(self, t, start, made, was_made, counts, last_counts, moved):
        if t - max(self.since, self.still_since) > STILL_S:
            if made:
                self.go("leave", t, counts)
            elif self.retries < RETRIES:
                self.retries += 1
                self.go("lift", t, counts)
            else:
                self.go("fault", t, counts, "the reading does not last at standstill")

    def leave(self, t, start, made, was_made, counts, last_counts, moved):
        if not made and (counts - self.made_counts) / COUNTS_PER_MM >= BACK_OFF:
            self.go("creep", t, counts)
        elif moved > LEAVE_LIMIT:
            self.go("fault", t, counts, "the sensor does not let go")

    def creep(self, t, start, made, was_made, counts, last_counts, moved):
        if made:
            self.edge = round(0.5 * (counts + last_counts))
            self.go("settle", t, counts)
        elif moved > CREEP_LIMIT:
            self.go("fault", t, counts, "the edge was not found again")

    def settle(self, t, start, made, was_made, counts, last_counts, moved):
        if t - max(self.since, self.still_since) > STILL_S:
            if self.made_run >= 2:
                self.zero = self.edge
                self.go("home", t, counts)
            else:
                self.go("fault", t, counts, "the reading does not last at standstill")

    def home(self, *loop):
        pass

    def fault(self, *loop):
        pass

    def answer(self):
        speed = SPEED.get(self.state, 0.0)
        stop = None if self.state in SPEED else "open" if self.state == "fault" else "hold"
        if self.flaw == "overwritten" and self.state == "rest":
            speed, stop = -FAST, None  # the line further down that nobody looked at
        if self.flaw == "both-blocked" and self.made:
            speed, stop = 0.0, "hold"
        return {
            "command": speed,
            "stop": stop,
            "state": self.state,
            "zero_at_counts": self.zero,
            "done": self.state == "home",
            "fault": self.reason,
        }


def main():
    routine = Routine(*sys.argv[1:2])
    for line in sys.stdin:
        heard = json.loads(line)
        if "reset" in heard:
            routine.reset()
            continue
        routine.step(heard["t_s"], heard["start"], heard["readings"]["bottom"], heard["counts"])
        sys.stdout.write(json.dumps(routine.answer()) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
