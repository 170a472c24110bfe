//! Enums that are stored and shown by one word each.

/// A text that is none of the words it should be.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("'{given}' is none of: {allowed}")]
pub struct UnknownWord {
    /// The text as given.
    pub given: String,
    /// Every word allowed, parted by commas.
    pub allowed: String,
}

/// Declares an enum each of whose cases has one word, in storage, files and pages alike.
#[macro_export]
macro_rules! word_enum {
    ($(#[$doc:meta])* $name:ident { $($(#[$case_doc:meta])* $case:ident = $word:literal,)+ }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, serde::Serialize, serde::Deserialize)]
        pub enum $name {
            $($(#[$case_doc])* #[serde(rename = $word)] $case,)+
        }

        impl $name {
            /// Every case, in the order of declaration.
            pub const ALL: &'static [Self] = &[$(Self::$case),+];

            /// Its word.
            #[must_use]
            pub const fn as_str(self) -> &'static str {
                match self {
                    $(Self::$case => $word,)+
                }
            }
        }

        impl std::str::FromStr for $name {
            type Err = $crate::word::UnknownWord;
            fn from_str(text: &str) -> Result<Self, Self::Err> {
                match text {
                    $($word => Ok(Self::$case),)+
                    _ => Err($crate::word::UnknownWord {
                        given: text.to_owned(),
                        allowed: [$($word),+].join(", "),
                    }),
                }
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(self.as_str())
            }
        }
    };
}
