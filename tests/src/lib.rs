//! What the tests of the whole share.
