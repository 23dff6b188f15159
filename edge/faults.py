"""Exit codes and the one line that a person gets to read when something goes wrong.

A fault's type says whose it is; the table below turns it into an exit code. Types are named by
their full path, so that nothing is imported to look one up; the nearest named ancestor counts.
What no row covers is a fault of the program itself.
"""

from __future__ import annotations

import traceback
from enum import IntEnum


class Exit(IntEnum):
    """What every command of ours may end with."""

    FINE = 0
    FOUND = 10  # alarms are active, or a difference was found
    BLIND = 20  # no data, or stale data
    WRONG_USE = 64  # wrong use or bad input
    OUT_OF_REACH = 69  # something that is needed cannot be reached
    PROGRAM_FAULT = 70  # a bug of ours
    STOPPED = 130  # ended by Ctrl-C, as shells count it


EXIT_CODES: dict[str, Exit] = {
    # of ours; those that are OSErrors are covered below
    "edge.wire.Refused": Exit.WRONG_USE,
    "edge.settings.SettingsError": Exit.WRONG_USE,
    "gateway.settings.SettingsFault": Exit.WRONG_USE,
    "edge.recording.faults.RecordingError": Exit.WRONG_USE,
    "edge.decide.definitions.DefinitionFault": Exit.WRONG_USE,
    "edge.decide.insulators.NotWatched": Exit.WRONG_USE,
    "edge.decide.kept_state.StateFault": Exit.OUT_OF_REACH,
    "edge.sense.frame_codec.FrameRefused": Exit.OUT_OF_REACH,
    "edge.sense.link.FirmwareRefused": Exit.OUT_OF_REACH,
    "edge.sense.iio.scan.TypeUnknown": Exit.OUT_OF_REACH,
    "edge.clock.ClockFileRefused": Exit.WRONG_USE,
    "edge.checking.certificates.CertificateUnreadable": Exit.WRONG_USE,
    "edge.daemon.faults.ThreadSilent": Exit.OUT_OF_REACH,
    "edge.daemon.faults.NotDry": Exit.WRONG_USE,
    "edge.commissioning.asking.AnswerRefused": Exit.WRONG_USE,
    "edge.commissioning.journal.JournalRefused": Exit.WRONG_USE,
    "edge.commissioning.visit.GivenUp": Exit.WRONG_USE,
    "edge.commissioning.visit.RangeUnknown": Exit.WRONG_USE,
    "edge.keep.faults.FileInUse": Exit.OUT_OF_REACH,
    "edge.keep.faults.ForeignFile": Exit.WRONG_USE,
    "gateway.accounts.people.AccountRefused": Exit.WRONG_USE,
    "gateway.accounts.people.SignInRefused": Exit.WRONG_USE,
    "gateway.accounts.passwords.PasswordRefused": Exit.WRONG_USE,
    "gateway.alarms.actions.ActionRefused": Exit.WRONG_USE,
    "gateway.field_set.folder.FieldSetFault": Exit.WRONG_USE,
    "gateway.alarms.journal.JournalFault": Exit.OUT_OF_REACH,
    "gateway.console.client.GatewayRefused": Exit.WRONG_USE,
    "gateway.limits.book.LineFault": Exit.OUT_OF_REACH,
    "gateway.limits.changing.ChangeRefused": Exit.WRONG_USE,
    "gateway.notices.delivering.AddressFault": Exit.WRONG_USE,
    "gateway.notices.desk.TrialRefused": Exit.WRONG_USE,
    "gateway.outstation.changes.HandOverRefused": Exit.WRONG_USE,
    "gateway.outstation.frames.PeerFault": Exit.OUT_OF_REACH,
    "gateway.outstation.points.PointsFault": Exit.OUT_OF_REACH,
    "gateway.trends.decided.DecisionFault": Exit.WRONG_USE,
    "gateway.exporting.envelopes.UnitsFault": Exit.WRONG_USE,
    "gateway.replay.grid.GridFault": Exit.WRONG_USE,
    "gateway.replay.held_out.ScoringRefused": Exit.WRONG_USE,
    "gateway.replay.instants.InstantFault": Exit.WRONG_USE,
    "gateway.replay.labels.LabelsFault": Exit.WRONG_USE,
    "gateway.replay.results.ResultFault": Exit.WRONG_USE,
    "gateway.replay.stored_units.UnitRefused": Exit.WRONG_USE,
    # of the system
    "builtins.FileNotFoundError": Exit.WRONG_USE,
    "builtins.IsADirectoryError": Exit.WRONG_USE,
    "builtins.NotADirectoryError": Exit.WRONG_USE,
    "builtins.OSError": Exit.OUT_OF_REACH,
    # of the libraries; pyserial's are OSErrors
    "sqlite3.DatabaseError": Exit.OUT_OF_REACH,
    "httpx.TransportError": Exit.OUT_OF_REACH,
}
"""Installer and user: wrong use. Hardware, disk, network, peer: out of reach."""


def exit_code_of(fault: BaseException) -> Exit:
    """The exit code of the nearest ancestor named in the table, else that of a program fault."""
    for kind in type(fault).__mro__:
        code = EXIT_CODES.get(f"{kind.__module__}.{kind.__qualname__}")
        if code is not None:
            return code
    return Exit.PROGRAM_FAULT


def line_of(fault: BaseException) -> str:
    """One line: where, what was found, what is allowed, what to do, as far as the fault says it."""
    if exit_code_of(fault) is Exit.PROGRAM_FAULT:
        return _program_fault(fault)
    if isinstance(fault, OSError) and fault.strerror:
        where = f"{fault.filename}: " if fault.filename else ""
        return f"{where}{fault.strerror}"
    return _one_line(str(fault)) or type(fault).__name__


def _program_fault(fault: BaseException) -> str:
    frames = traceback.extract_tb(fault.__traceback__)
    place = f" at {frames[-1].filename}:{frames[-1].lineno}" if frames else ""
    said = _one_line(f"{type(fault).__name__}: {fault}")
    return f"a fault of this program, not of your input: {said}{place}; SEAFRET_TRACE=1 shows more"


def _one_line(text: str) -> str:
    return "; ".join(line.strip() for line in text.splitlines() if line.strip())
