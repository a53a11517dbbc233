use crate::Extent;
pub(crate) fn section(_: Extent) -> String {
    String::new()
}
