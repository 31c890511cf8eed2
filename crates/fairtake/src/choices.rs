//! Words that can be typed for one of several things.

use clap::ValueEnum;
use fairtake_compare::{Design, MatchBy, Playing, PolarPattern, Role};
use fairtake_report::figure::{Decade, Theme};
use fairtake_write_up::Keep;

macro_rules! choice {
    ($(#[$doc:meta])* $name:ident => $target:ty { $($(#[$variant_doc:meta])* $variant:ident => $value:expr),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
        pub(crate) enum $name { $($(#[$variant_doc])* $variant),+ }

        impl From<$name> for $target {
            fn from(choice: $name) -> $target {
                match choice { $($name::$variant => $value),+ }
            }
        }
    };
}

choice! {
    /// Level match.
    MatchArg => MatchBy {
        /// Event loudness
        Loudness => MatchBy::Loudness,
        /// Energy from 300 Hz to 3 kHz
        Midrange => MatchBy::Midrange,
        /// Event peak
        Peak => MatchBy::Peak,
        /// Not at all
        None => MatchBy::None,
    }
}
choice! {
    /// Design of the takes.
    DesignArg => Design {
        /// All microphones recorded the same performance at once
        Together => Design::Together,
        /// One microphone after the other
        InTurn => Design::InTurn,
        /// In turn, beside one microphone that nobody moved
        InTurnWithWitness => Design::InTurnWithWitness,
        /// One recording played back for every microphone
        Replayed => Design::Replayed,
    }
}
choice! {
    /// How a source is played.
    PlayingArg => Playing {
        /// Let Fairtake choose and say which
        Auto => Playing::Auto,
        /// Single hits
        Percussive => Playing::Percussive,
        /// Continuous sound
        Sustained => Playing::Sustained,
    }
}
choice! {
    /// What a take is for.
    RoleArg => Role {
        /// By a microphone under comparison
        Compared => Role::Compared,
        /// By the microphone that nobody moves
        Witness => Role::Witness,
        /// Noise of the room and the chain alone
        RoomTone => Role::RoomTone,
        /// What leaks in from other sources
        Bleed => Role::Bleed,
    }
}
choice! {
    /// Polar pattern.
    PatternArg => PolarPattern {
        /// Pressure only
        Omni => PolarPattern::Omni,
        /// Wide cardioid
        Subcardioid => PolarPattern::Subcardioid,
        /// Cardioid
        Cardioid => PolarPattern::Cardioid,
        /// Greatest front-to-back ratio
        Supercardioid => PolarPattern::Supercardioid,
        /// Greatest directivity index
        Hypercardioid => PolarPattern::Hypercardioid,
        /// Figure of eight
        Bidirectional => PolarPattern::Bidirectional,
    }
}
choice! {
    /// Colours of a picture.
    ColoursArg => Theme {
        /// Dark on light, for a screen
        Light => Theme::Light,
        /// Light on dark
        Dark => Theme::Dark,
        /// Dark on white
        Print => Theme::Print,
    }
}
choice! {
    /// How steep the level axes of a picture are.
    DecadeArg => Decade {
        /// What fits; the picture says which
        Fits => Decade::Fitting,
        /// 25 dB
        #[value(name = "25")]
        Db25 => Decade::Db25,
        /// 50 dB
        #[value(name = "50")]
        Db50 => Decade::Db50,
    }
}
choice! {
    /// What is kept of a moving picture.
    KeepArg => Keep {
        /// A video with sound; numbered frames where it cannot be made
        Video => Keep::Video,
        /// Numbered PNG frames, and the sound
        Frames => Keep::Frames,
        /// Both
        Both => Keep::Both,
    }
}
