//! Under what a pack is observed: a short story each, played on the trainer with its 16 cells. A pack of 96 cells has the same physics
//! in each cell and only more of them.

use crate::case::{Case, CaseError};

/// One story under which every defect is observed.
#[derive(Debug)]
pub struct Observation {
    /// Its name on the command line and in tables.
    pub key: &'static str,
    /// When the defect begins, in seconds from the start.
    pub onset_seconds: f64,
    text: &'static str,
}

impl Observation {
    /// All of them.
    pub const ALL: [Self; 7] = [
        // Before anything closes: what a start must find, a start can find.
        Self {
            key: "start-and-stop",
            onset_seconds: 2.0,
            text: include_str!("observations/start-and-stop.toml"),
        },
        Self { key: "shift", onset_seconds: 30.0, text: include_str!("observations/shift.toml") },
        Self { key: "cold", onset_seconds: 30.0, text: include_str!("observations/cold.toml") },
        Self { key: "hot", onset_seconds: 30.0, text: include_str!("observations/hot.toml") },
        Self { key: "top-up", onset_seconds: 30.0, text: include_str!("observations/top-up.toml") },
        Self { key: "rest", onset_seconds: 60.0, text: include_str!("observations/rest.toml") },
        Self { key: "balancing", onset_seconds: 60.0, text: include_str!("observations/balancing.toml") },
    ];

    /// Its story on a sound pack, with this seed of noise and scatter.
    ///
    /// # Errors
    /// Never for those of the list: a test reads them all.
    pub fn case(&self, seed: u64) -> Result<Case, CaseError> {
        let mut case = Case::parse(self.text, self.key)?;
        case.seed = seed;
        Ok(case)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::case::Pack;

    #[test]
    fn every_observation_is_a_case_of_the_trainer_in_which_the_defect_begins() {
        for observation in &Observation::ALL {
            let case = observation.case(7).unwrap();
            assert!(case.pack == Pack::Trainer && case.seed == 7 && case.defects.is_empty());
            assert!(observation.onset_seconds < case.duration_seconds, "{}", observation.key);
        }
    }
}
