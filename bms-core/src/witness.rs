//! # Who hears why
//!
//! Every room that judges tells a witness what it saw: values, never sentences. On a target nobody listens: with `()` as the
//! witness all evidence compiles away. On the host a recorder listens and words are made from the values elsewhere.
//!
//! Evidence is told lazily, so that what nobody hears is never computed. Only [`Witness::tell`] may ask whether anybody
//! listens: a decision that depended on it would differ between host and target.

mod evidence;

pub use evidence::{Act, Assessment, Evidence, Place, Quantity, Refusal, Unseparable};

/// Whoever listens to the evidence of a tick.
pub trait Witness {
    /// Whether evidence is worth making. `()` says no, which folds to a constant.
    fn listens(&self) -> bool {
        true
    }

    /// Takes one piece of evidence.
    fn saw(&mut self, evidence: Evidence);

    /// Makes the evidence and hands it over, if anybody listens.
    #[inline]
    fn tell(&mut self, evidence: impl FnOnce() -> Evidence)
    where
        Self: Sized,
    {
        if self.listens() {
            self.saw(evidence());
        }
    }
}

/// Nobody listens.
impl Witness for () {
    #[inline]
    fn listens(&self) -> bool {
        false
    }
    #[inline]
    fn saw(&mut self, _: Evidence) {}
}

impl<W: Witness + ?Sized> Witness for &mut W {
    #[inline]
    fn listens(&self) -> bool {
        (**self).listens()
    }
    #[inline]
    fn saw(&mut self, evidence: Evidence) {
        (**self).saw(evidence);
    }
}

/// Perhaps somebody listens: one instantiation of the core serves both.
impl<W: Witness> Witness for Option<W> {
    #[inline]
    fn listens(&self) -> bool {
        self.as_ref().is_some_and(Witness::listens)
    }
    #[inline]
    fn saw(&mut self, evidence: Evidence) {
        if let Some(witness) = self {
            witness.saw(evidence);
        }
    }
}

/// Two listen.
impl<A: Witness, B: Witness> Witness for (A, B) {
    #[inline]
    fn listens(&self) -> bool {
        self.0.listens() || self.1.listens()
    }
    #[inline]
    fn saw(&mut self, evidence: Evidence) {
        if self.0.listens() {
            self.0.saw(evidence);
        }
        if self.1.listens() {
            self.1.saw(evidence);
        }
    }
}
