"""What people see in a browser: figures and reports made from results. No physics, and no arithmetic beyond display."""
