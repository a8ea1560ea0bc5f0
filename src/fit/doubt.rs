//! What may be in doubt about a start, by its stable code.

use super::ballot::Group;
use crate::note::Note;

/// What is in doubt about a start.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum What {
    BoundsWide,
    CarriedFar,
    ClockJumped,
    ClockRejammed,
    ClockUnclear,
    ClocksDisagree,
    /// A group of digits that may have another value.
    Doubtful(Group),
    DropFrameUnknown,
    FewAgree,
    FewFrames,
    FramesUnseen,
    GivenDropFrameContradicted,
    GivenRateContradicted,
    GivenSpeedContradicted,
    HalfDayUnknown,
    MayBeALength,
    MayBeAPlayer,
    NotSeenRunning,
    PartsDoubtful,
    RateUnknown,
    SpeedDoubtful,
    SpeedUnknown,
    StartUnclear,
    Uneven,
    /// A group of digits that could not be read.
    Unknown(Group),
}

impl What {
    fn code(self) -> String {
        let code = match self {
            Self::BoundsWide => "bounds_wide",
            Self::CarriedFar => "carried_far",
            Self::ClockJumped => "clock_jumped",
            Self::ClockRejammed => "clock_rejammed",
            Self::ClockUnclear => "clock_unclear",
            Self::ClocksDisagree => "clocks_disagree",
            Self::Doubtful(group) => return format!("{}_doubtful", group.name()),
            Self::DropFrameUnknown => "drop_frame_unknown",
            Self::FewAgree => "few_agree",
            Self::FewFrames => "few_frames",
            Self::FramesUnseen => "frames_unseen",
            Self::GivenDropFrameContradicted => "given_drop_frame_contradicted",
            Self::GivenRateContradicted => "given_rate_contradicted",
            Self::GivenSpeedContradicted => "given_speed_contradicted",
            Self::HalfDayUnknown => "half_day_unknown",
            Self::MayBeALength => "may_be_a_length",
            Self::MayBeAPlayer => "may_be_a_player",
            Self::NotSeenRunning => "not_seen_running",
            Self::PartsDoubtful => "parts_doubtful",
            Self::RateUnknown => "rate_unknown",
            Self::SpeedDoubtful => "speed_doubtful",
            Self::SpeedUnknown => "speed_unknown",
            Self::StartUnclear => "start_unclear",
            Self::Uneven => "uneven",
            Self::Unknown(group) => return format!("{}_unknown", group.name()),
        };
        code.into()
    }

    /// True if it says that no clock was seen to run.
    pub const fn is_of_no_running(self) -> bool {
        matches!(self, Self::FewFrames | Self::NotSeenRunning)
    }

    /// True if it may go away with more frames of the same stretch.
    pub const fn is_cured_by_more_frames(self) -> bool {
        self.is_of_no_running()
            || matches!(
                self,
                Self::BoundsWide
                    | Self::CarriedFar
                    | Self::ClockUnclear
                    | Self::SpeedUnknown
                    | Self::StartUnclear
                    | Self::PartsDoubtful
            )
    }
}

/// Why a start is not sure: what is in doubt, and the sentence that an editor reads.
#[derive(Clone, Debug)]
pub(super) struct Doubt {
    pub what: What,
    pub sentence: String,
}

impl Doubt {
    pub fn new(what: What, sentence: impl Into<String>) -> Self {
        let sentence = sentence.into();
        Self { what, sentence }
    }
}

impl From<Doubt> for Note {
    fn from(doubt: Doubt) -> Self {
        Self::new(doubt.what.code(), doubt.sentence)
    }
}
