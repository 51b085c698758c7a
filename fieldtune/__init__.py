"""The console for robots that launch game elements at targets."""
