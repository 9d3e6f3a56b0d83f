//! What is said to somebody who has said what is wrong with a pack.

use crate::defect::Defect;

/// Whether that is the defect, and what is wrong in truth.
#[must_use]
pub fn defect(found: bool, defects: &[Defect]) -> String {
    let truly = match defects {
        [] => "nothing is wrong with this pack".to_owned(),
        defects => defects.iter().map(super::defect).collect::<Vec<_>>().join("; "),
    };
    if found { format!("That is it: {truly}.") } else { format!("That is not it: {truly}.") }
}

/// Whether it was rightly held for dangerous.
#[must_use]
pub fn danger(said: bool, truly: bool) -> String {
    let is = |dangerous| if dangerous { "dangerous" } else { "not dangerous" };
    if said == truly {
        format!("You hold it for {}, and so it is.", is(said))
    } else {
        format!("You hold it for {}, and it is {}.", is(said), is(truly))
    }
}
