"""The model driver: what he means to do, and how he does it with hands and feet. Nothing else of the truck knows of him."""
