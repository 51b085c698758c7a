"""From unpacking to the first own robot, without a screen: questions and answers, the line's names, encoder checks."""
