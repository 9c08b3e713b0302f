"""Inputs as every page offers them, made from what the models say of themselves."""
