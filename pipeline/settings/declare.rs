//! How an option is declared, once: its field, its default, what it may be, its unit and its meaning.

/// What a value may be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Bound {
    /// A whole number within these ends.
    Whole(i64, i64),
    /// A number within these ends; infinite only where an end is.
    Number(f64, f64),
    /// A number above the first and at most the second.
    Above(f64, f64),
    YesNo,
    Day,
    Text,
    /// Limits of a depot's own, each bounded as the option of its name.
    DepotLimits,
}

/// Whether an option is one value or one for each name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    One,
    ByName,
}

/// One option of the configuration.
#[derive(Debug)]
pub struct Opt {
    pub section: &'static str,
    pub name: &'static str,
    pub shape: Shape,
    pub bound: Bound,
    /// What the number counts; empty for a text.
    pub unit: &'static str,
    doc: &'static str,
}

impl Opt {
    #[doc(hidden)]
    pub const fn new(
        (section, name): (&'static str, &'static str),
        shape: Shape,
        (bound, unit): (Bound, &'static str),
        doc: &'static str,
    ) -> Self {
        Self {
            section,
            name,
            shape,
            bound,
            unit,
            doc,
        }
    }

    /// The key as the configuration has it: `run.horizon_days`.
    pub fn key(&self) -> String {
        format!("{}.{}", self.section, self.name)
    }

    /// What it means.
    pub fn meaning(&self) -> &'static str {
        self.doc.trim()
    }

    /// Whether queries can read it, under its name.
    pub fn is_parameter(&self) -> bool {
        self.shape == Shape::One
    }
}

/// Declares the sections: for each a struct of its fields with their defaults, and the one list of
/// options that the check, the documentation and the queries' parameters are made from.
macro_rules! options {
    ($(
        $(#[doc = $about:literal])+
        $section:ident: $Section:ident {
            $(
                $(#[doc = $doc:literal])+
                $name:ident: $kind:ty = $default:expr, $shape:ident, $bound:expr, $unit:literal;
            )+
        }
    )+) => {
        $(
            $(#[doc = $about])+
            #[derive(Debug, Clone, Serialize, Deserialize)]
            #[serde(deny_unknown_fields, default)]
            pub struct $Section {
                $( $(#[doc = $doc])+ pub $name: $kind, )+
            }

            impl Default for $Section {
                fn default() -> Self {
                    Self { $( $name: $default, )+ }
                }
            }
        )+

        /// Every setting of a run.
        #[derive(Debug, Clone, Default, Serialize, Deserialize)]
        #[serde(deny_unknown_fields, default)]
        pub struct Settings {
            $( pub $section: $Section, )+
            /// Where the values that are not defaults were given.
            #[serde(skip)]
            pub given: Given,
        }

        /// Every option, in the order of the sections.
        pub const OPTIONS: &[Opt] = &[
            $( $(
                Opt::new(
                    (stringify!($section), stringify!($name)),
                    Shape::$shape,
                    ($bound, $unit),
                    concat!($($doc),+),
                ),
            )+ )+
        ];
    };
}
