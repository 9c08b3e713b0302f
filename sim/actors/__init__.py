"""The decisions of a trip as simpy processes: one kind of decision a file. They read belief and road and write commands."""
