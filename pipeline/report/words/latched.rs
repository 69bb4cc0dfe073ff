//! What to do about a code that plain clears leave behind.

/// How often clears left a code behind.
#[derive(Debug, Clone, Copy)]
pub struct Clears {
    pub clears: i64,
    pub survived: i64,
    pub protected_clears: i64,
    pub protected_gone: i64,
}

impl Clears {
    pub fn said(self) -> String {
        let mut parts = vec![format!(
            "plain clears failed {} of {} times",
            self.survived, self.clears
        )];
        // Where one in ten or more works, trying again does.
        if 10 * self.survived <= 9 * self.clears && self.survived < self.clears {
            parts.push(format!(
                "on average it takes {:.1} of them",
                self.clears as f64 / (self.clears - self.survived) as f64
            ));
        }
        let procedure = "look for the maker's protected procedure";
        parts.push(match self.protected_clears {
            0 => format!("no protected clear was tried: {procedure}"),
            tried if 2 * self.protected_gone >= tried => format!(
                "gone after the protected clear {} of {tried}: {procedure}",
                self.protected_gone
            ),
            tried => format!(
                "the protected clear failed {} of {tried} times too",
                tried - self.protected_gone
            ),
        });
        parts.join("; ")
    }
}
