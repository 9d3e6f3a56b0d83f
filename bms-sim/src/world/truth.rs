//! What only the world knows.
