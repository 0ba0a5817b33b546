//! Things that a careless program would do, each with the words by which the checks must notice
//! it. They are planted in the simulated seams and in the stand-ins, never in the program.

/// One of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mistake {
    AnswersBeforeAppend,
    SendsBeforeAppend,
    CopyWithoutMark,
    DoubtIsNoDoubt,
    ForgetsDoubtAfterCrash,
    ForgetsPersons,
    PassesOverFailedSync,
    SkipsSync,
    SkipsDirectorySync,
    RenamesBeforeSync,
    TrustsWhatItReads,
    RemovesSegmentsTooEarly,
    DropsBadFrames,
    SnapshotRunsAhead,
    StaysAhead,
    ForgetsTheList,
    ListTwiceInAutumn,
    PrintsWhatWasRefused,
    StalePlanWins,
    LosesUndo,
    MissesPiecesOnList,
    KeepsOldSnapshots,
    ErasesInMemoryOnly,
}

/// A mistake, what it is, and how it shows.
pub struct Planted {
    pub mistake: Mistake,
    pub what: &'static str,
    /// The check that notices it says one of these.
    pub shows_as: &'static [&'static str],
}

const fn planted(mistake: Mistake, what: &'static str, shows_as: &'static [&'static str]) -> Planted {
    Planted { mistake, what, shows_as }
}

/// What the disk held is not what was confirmed.
const LOST: &[&str] = &["were confirmed", "is damaged at byte"];

/// All of them.
pub const ALL: [Planted; 23] = {
    use Mistake::*;
    [
        planted(
            AnswersBeforeAppend,
            "the shop is answered before its message is on the disk",
            &["was answered and is", "is answered otherwise than before"],
        ),
        planted(
            SendsBeforeAppend,
            "the printer gets bytes before `sending` is on the disk",
            &["go to the printer, though on the disk it is"],
        ),
        planted(CopyWithoutMark, "a second paper does not say COPY", &["neither says COPY"]),
        planted(
            DoubtIsNoDoubt,
            "a paper in doubt is sent again as if not one byte had left",
            &["lies in the tray twice"],
        ),
        planted(
            ForgetsDoubtAfterCrash,
            "after a crash a paper that was being sent counts as never sent",
            &["lies in the tray twice"],
        ),
        planted(ForgetsPersons, "what tells of a person is not written", &["the persons on the disk"]),
        planted(PassesOverFailedSync, "after a failed sync it goes on as if nothing had happened", LOST),
        planted(SkipsSync, "the journal is not synced", LOST),
        planted(
            SkipsDirectorySync,
            "names in directories are not synced",
            &["were confirmed", "is missing", "cannot be opened"],
        ),
        planted(
            RenamesBeforeSync,
            "a snapshot gets its name before its content is on the disk",
            &["though nothing was damaged"],
        ),
        planted(
            TrustsWhatItReads,
            "what was read at the start is not written again, so that a failed sync stays unnoticed",
            LOST,
        ),
        planted(
            RemovesSegmentsTooEarly,
            "segments go that no snapshot and no archive stands for",
            &["cannot be opened", "archive and index lack its facts"],
        ),
        planted(DropsBadFrames, "a bad frame in the middle is passed over", &["is passed over in silence"]),
        planted(
            SnapshotRunsAhead,
            "a snapshot is made of the state that runs ahead of the disk",
            &["the fold of snapshot and journal is not the state"],
        ),
        planted(
            StaysAhead,
            "after a full disk it goes on with the state that ran ahead",
            &["a group begins with record"],
        ),
        planted(
            ForgetsTheList,
            "after a start it does not know that today's list was printed",
            &["two scheduled lists"],
        ),
        planted(
            ListTwiceInAutumn,
            "the list's hour is compared as the clock on the wall shows it, and in autumn it comes twice",
            &["two scheduled lists"],
        ),
        planted(
            PrintsWhatWasRefused,
            "the book's refusal is taken for leave: a cancelled order's slip is printed",
            &["go to the printer, though on the disk it is"],
        ),
        planted(StalePlanWins, "a plan for an older content is taken for the newer one", &["ordered are"]),
        planted(LosesUndo, "taking a parcel back is answered, and not done", &["and it is still"]),
        planted(MissesPiecesOnList, "the pick list leaves out a piece", &["the pick list says"]),
        planted(
            KeepsOldSnapshots,
            "the snapshots from before an erasure stay, and with them the persons",
            &["still tells of"],
        ),
        planted(ErasesInMemoryOnly, "who is forgotten goes from memory, and not from the files", &["still tells of"]),
    ]
};
