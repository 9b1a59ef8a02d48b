"""Studies too large for one sitting: cut into batches, worked out wherever there is room, and kept batch by batch.

What a batch is worth does not depend on where it runs. Whoever is killed (a worker, the scheduler, this program) loses no more
than the batches that were being worked out; the same command takes the study up again.
"""
