"""The engine on the dyno: the plant and the controller of a trip, held by an absorber. No second formula."""
