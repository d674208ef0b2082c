"""Everything that can go wrong, each with its exit code and its remedy.

An error's text names the file, says what is wrong; its remedy says what to do now. The
doors print both and leave with the code; nothing below the doors prints.
"""

from __future__ import annotations

from enum import IntEnum


class ExitCode(IntEnum):
    """What the command says to the shell when it ends."""

    DONE = 0
    STOPPED = 1
    USAGE = 2
    NEEDS_PERSON = 3
    HASH_MISMATCH = 4
    CANNOT_WRITE = 5
    NOT_A_JOB = 6
    JOB_HELD = 7
    INTERRUPTED = 130


class EvidenceError(Exception):
    """One thing that went wrong, said so that a tired person knows what to do next."""

    exit_code: ExitCode = ExitCode.STOPPED
    remedy: str = ""


class WrongUsage(EvidenceError):
    """The words typed do not go together, or name something that does not exist."""

    exit_code = ExitCode.USAGE
    remedy = "See the command's --help for an example."


class UnknownPicture(WrongUsage):
    """No picture of this job carries that number."""

    remedy = "List the numbers with: evidence status JOB --pictures"


class UnknownFinding(WrongUsage):
    """No finding of this job carries that number."""

    remedy = "List the findings with: evidence findings JOB"


class UnknownStandard(UnknownFinding):
    """No standard finding in use has that id."""

    remedy = (
        "List them with: evidence catalogue JOB, or search them with: evidence findings JOB --search WORDS"
    )


class UnknownRoom(WrongUsage):
    """No room or visit of this job is called so."""

    remedy = "List visits and rooms with: evidence rooms JOB"


class UnknownSentence(WrongUsage):
    """No sentence on the line of time carries that number."""

    remedy = "List them with: evidence narration JOB"


class EmptyFinding(WrongUsage):
    """A finding must say what was seen."""

    remedy = "Give the text with --seen, or a standard finding with --from."


class BadSetting(WrongUsage):
    """A setting holds a value it cannot have."""

    remedy = "Correct the value in job.toml or on the command line."


class BadCatalogue(WrongUsage):
    """An inspector's own file of standard findings holds a row that cannot be used."""

    remedy = (
        "Correct it as docs/catalogue.md shows, or move the file away: the packaged findings do without it."
    )


class BadTable(WrongUsage):
    """A table of findings is not there, is not UTF-8 text, or is no table."""

    remedy = "Check its name, or save it anew as CSV in UTF-8, then give it again."


class CardMissing(EvidenceError):
    """The card or folder to read is not there."""

    remedy = "Check that the card is in its reader and mounted, then give its folder again."


class HouseMissing(EvidenceError):
    """The demo's made-up house is not part of this installation, or not whole."""

    remedy = "Install the program anew, or run the demo from a checkout of its source with fixtures/ in it."


class NothingOnCard(EvidenceError):
    """The card was read, and it holds no file to take in."""

    remedy = "Check that this is the right card; a camera writes its pictures below a folder called DCIM."


class SeveralJobs(EvidenceError):
    """A card seems to hold more than one job, and nobody said which part belongs to this one.

    Attributes
    ----------
    parts
        What the card seems to hold, for a program to read.
    """

    exit_code = ExitCode.NEEDS_PERSON
    remedy = (
        "Take the parts of this job with --part N (again for more), the others into jobs of their own; "
        "or, if it is all one job, everything with --whole."
    )

    def __init__(self, said: str, parts: tuple[object, ...] = ()) -> None:
        super().__init__(said)
        self.parts = parts


class CardUnreadable(EvidenceError):
    """A file on the card could not be read to its end."""

    remedy = "Clean the contacts or try another reader, then run intake again: it takes only what is missing."


class CardGone(CardUnreadable):
    """The card went away while it was being read."""

    remedy = "Put the card back and run the same intake again: it takes only what is missing."


class AlreadyThere(EvidenceError):
    """Another file already stands where this one should go; it is left as it is."""

    remedy = "Choose a new place, or move the other file away first."


class SealBroken(EvidenceError):
    """A signature or a time-stamp does not belong to what it should vouch for."""

    exit_code = ExitCode.HASH_MISMATCH
    remedy = "Check the edition itself with: evidence verify JOB; then ask who made the seal."


class CannotWrite(EvidenceError):
    """The job cannot be written to."""

    exit_code = ExitCode.CANNOT_WRITE
    remedy = "Make the folder writable, or copy the job to a disk that is."


class DiskFull(CannotWrite):
    """The disk has no room left; nothing half-written was kept."""

    remedy = "Make room on the disk and run the same command again: it goes on where it stopped."


class CannotSay(CannotWrite):
    """The command is done, and its result cannot be written where it was sent."""

    remedy = "What was asked for is done. Make room there, and ask the job how it stands: evidence status JOB"


class DatabaseDamaged(EvidenceError):
    """The database is damaged; everything in it can be made again from the originals and the record."""

    remedy = "Run: evidence light JOB. It keeps the damaged file beside, and reads the originals anew."


class DatabaseBusy(EvidenceError):
    """Another program holds the job's database."""

    exit_code = ExitCode.JOB_HELD
    remedy = "Close whatever has job.sqlite open, a backup for example, and run the same command again."


class DigestMismatch(EvidenceError):
    """A file no longer holds the bytes that were recorded for it."""

    exit_code = ExitCode.HASH_MISMATCH
    remedy = "Keep this copy as it is and compare it with a second copy or with the card."


class RecordBroken(EvidenceError):
    """The record's chain does not hold from its first line to its last."""

    exit_code = ExitCode.HASH_MISMATCH
    remedy = "Keep this copy as it is and compare record.jsonl with a second copy."


class NotAJob(EvidenceError):
    """The folder is not a job."""

    exit_code = ExitCode.NOT_A_JOB
    remedy = "Make one with: evidence start FOLDER"


class NewerJob(NotAJob):
    """The job was made by a newer version of this program."""

    remedy = "Install the newer version; this one leaves the job as it is."


class NothingToCheck(NotAJob):
    """What was named is nothing that can be checked."""

    remedy = "Name a job, an edition, a BagIt folder, a zip file of one, or a file with --job and its job."


class JobHeld(EvidenceError):
    """Another run is writing this job."""

    exit_code = ExitCode.JOB_HELD
    remedy = "Wait until it ends, or end it; the lock goes with it."


class BadPicture(EvidenceError):
    """A file that should be a picture cannot be read as one."""

    remedy = "The original is kept as it is; look at it with another program or photograph the thing again."


class TooManyPixels(BadPicture):
    """The file claims more pixels than a camera makes; it was not decoded."""


class BadTranscript(EvidenceError):
    """A file that should be a timed transcript cannot be read as one."""

    remedy = "Write it out anew as WebVTT or SRT, UTF-8; the recording itself need not be taken in again."


class NotIssuable(EvidenceError):
    """The appendix cannot be issued as things stand."""

    remedy = "See what is missing with: evidence gaps JOB"


class NotLookedAt(NotIssuable):
    """Pictures that would be printed were not looked at in full size."""

    remedy = (
        "List them with: evidence proof JOB; tick them with their numbers, or say with --unlooked why they "
        "go out all the same."
    )


class NoAddress(NotIssuable):
    """Nothing says what house it is."""

    remedy = "Fill in “address” in job.toml and run the same command again."


class TooLargeToMail(EvidenceError):
    """The appendix cannot be made small enough and stay legible."""

    remedy = "Raise --mail-limit, print more pictures a page, or leave photos out of this edition."


class LibraryMissing(EvidenceError):
    """An optional library is needed for this and is not installed."""


class CannotServe(EvidenceError):
    """The review page cannot be served there."""

    remedy = "Choose another with --port, or leave it out for any that is free."
