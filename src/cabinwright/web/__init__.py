"""The screen beside the car: one local page a stage. It shows what ``desk`` gives and computes nothing."""
