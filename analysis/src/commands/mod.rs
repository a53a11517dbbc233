//! Commands with modules of their own.

pub(crate) mod academy;
pub(crate) mod dataset;
