"""The wording of every refusal, one module for each kind of input."""
