"""The Dyno page: an engine on an absorber, drawn as the run goes."""
