"""Maps of the margin over two things that a builder can choose: axes -> cells -> study."""
