"""What people see of haulbench in a browser: figures and reports of results. No physics, and no arithmetic beyond display."""
