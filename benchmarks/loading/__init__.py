"""What is sent to a service under load, by whom, and what it is compared with."""
