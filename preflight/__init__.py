"""Sign-artwork preflight: tells whether artwork will cut from film, where it will not, and why."""
