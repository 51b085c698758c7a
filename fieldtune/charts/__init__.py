"""Charts of a robot, made from plain results: no screen, no paper. The console and ``share`` draw them."""
