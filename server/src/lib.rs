//! Mendpost's web service.
