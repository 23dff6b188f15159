"""Which commands there are, in the order in which a newcomer meets them, each in one line.

`seafret --help` is made from this table alone, so that it answers at once. A command of the table
whose module is not there yet is neither shown nor run.
"""

from __future__ import annotations

COMMANDS: dict[str, str] = {
    "demo": "a virtual coast lives through a salt-fog night, on this machine",
    "serve": "the gateway: ingest, history, alarms, console",
    "ingest": "one of several workers that take in a fleet's records",
    "replay": "stored recordings through the very same steps",
    "compare": "two replays: which alarms and settings differ",
    "score": "a replay's events against labels",
    "verify": "a replay again: identical, or where it differs",
    "field-set": "recordings and what people saw meanwhile, in one checked folder",
    "load": "history from elsewhere, as CSV",
    "trend": "humidity response, exposure, change, assessment",
    "assess": "what is advised for every insulator, most urgent first",
    "decide": "write down what a person decided, beside the advice",
    "forecast": "what the next fog would do to each insulator",
    "report": "the condition report of a month",
    "thin": "old minute rows made ten-minute and hourly ones",
    "export": "history out, as Parquet or CSV",
    "backup": "all histories into a folder, while the gateway runs",
    "restore": "a back-up in the place of what is there",
    "move": "sites from files into a database or back, and compared",
    "status": "what each insulator does now, from a running gateway",
    "alarms": "the alarm list of a running gateway",
    "acknowledge": "acknowledge an alarm",
    "shelve": "put an alarm aside until a time",
    "limits": "limits under change control: propose, try, approve, go back",
    "hand-over": "the text for the next shift",
    "accounts": "who may sign in to the console, and what each may do",
}

MODULE = "gateway.commands.{name}"
"""With `_` for `-` in the name."""

ATTRIBUTE = "command"
