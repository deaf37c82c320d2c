"""Compare sensors and mountings before drilling: each candidate as a lift of its own, ranked."""
