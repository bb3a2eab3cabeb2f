"""The demo scenario: invented artwork for Marrowby Lane Allotments and its small shop."""
