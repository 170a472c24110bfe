//! The computation behind Mendpost.
