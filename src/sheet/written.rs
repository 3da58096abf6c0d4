//! What a writer gives back.

/// A written file that was not put anywhere yet.
#[derive(Clone, Debug, PartialEq)]
pub struct Written {
    /// Its name, ASCII.
    pub name: String,
    /// Its content.
    pub bytes: Vec<u8>,
    /// Pages it prints on.
    pub pages: usize,
}

/// Pages that a drawing takes on paper.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PageCount {
    /// The drawing, as its file is named.
    pub name: String,
    /// Its pages.
    pub pages: usize,
    /// How many fewer than without turning and shifting pages, leaving out blank ones, and printing
    /// equal pieces once.
    pub saved: usize,
}
