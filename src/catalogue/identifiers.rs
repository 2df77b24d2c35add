//! Direct identifiers: what the privacy gate looks for. (being written; see the next commit)

/// A kind of direct identifier.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum IdentifierKind {
    /// An e-mail address.
    Email,
}
impl IdentifierKind {
    /// Its name in messages.
    pub fn label(self) -> &'static str {
        "an e-mail address"
    }
}
/// What a header says.
pub fn screen_header(_header: &str) -> Option<IdentifierKind> {
    None
}
/// Looks at cells.
#[derive(Default)]
pub struct ValueScreen {
    hits: u32,
}
impl ValueScreen {
    /// One cell.
    pub fn observe(&mut self, cell: &[u8]) {
        self.hits += u32::from(memchr::memchr(b'@', cell).is_some());
    }
    /// What the cells look like.
    pub fn finding(&self) -> Option<IdentifierKind> {
        (self.hits > 1).then_some(IdentifierKind::Email)
    }
}
