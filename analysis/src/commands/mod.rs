//! Commands with modules of their own.

#[cfg(feature = "open-data")]
pub(crate) mod academy;
#[cfg(feature = "open-data")]
pub(crate) mod dataset;
pub(crate) mod export;
#[cfg(feature = "packaged")]
pub(crate) mod manual;
pub(crate) mod picture;
