//! Which statements does sayback send to SQLite?
//!
//! Each file of the store declares its statements with [`statements!`]; the
//! macro also lists them, so that a test can hold that every one of them is
//! valid and has been used by a test.

use super::Store;

/// One SQL statement with the name it is known by in the tests.
#[derive(Debug)]
pub(crate) struct Statement {
    pub(crate) name: &'static str,
    pub(crate) sql: &'static str,
}

/// Declares statements as constants and lists them as `ALL`.
macro_rules! statements {
    ($($(#[$doc:meta])* $name:ident = $sql:expr;)+) => {
        $(
            $(#[$doc])*
            const $name: &$crate::store::statement::Statement =
                &$crate::store::statement::Statement { name: stringify!($name), sql: $sql };
        )+
        #[cfg(test)]
        pub(in crate::store) const ALL: &[&$crate::store::statement::Statement] = &[$($name),+];
    };
}
pub(super) use statements;

impl Store {
    /// The text of a statement; in unit tests, notes that it was used.
    pub(super) fn sql(&self, statement: &'static Statement) -> &'static str {
        #[cfg(test)]
        if let Ok(mut used) = self.used.lock() {
            used.insert(statement.name);
        }
        let _ = statement.name;
        statement.sql
    }
}
