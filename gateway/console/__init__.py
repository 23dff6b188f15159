"""What people and programs see: the API, fed by a summary in memory and by the history."""
