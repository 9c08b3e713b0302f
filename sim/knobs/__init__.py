"""The controller of a trip without a truck: hands turn what its sensors measure and throw its switches, and see what it does."""
