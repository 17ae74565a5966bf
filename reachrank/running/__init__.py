"""How a run goes on: in batches, by threads and processes, kept so that a stopped one goes on."""
