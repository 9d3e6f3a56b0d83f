//! What depends on a module's temperature only, worked out once a module while a pass goes cell by cell along the string.

use crate::config::Config;
use crate::sense::{ModuleRange, Temperatures};

/// Cell by cell along the string, a value of the cell's module.
pub(super) struct ByModule<'a, V, F> {
    modules: core::slice::Iter<'a, ModuleRange>,
    cells_per_module: u8,
    left: u8,
    value: V,
    of: F,
}

impl<'a, V: Copy, F: Fn(&ModuleRange) -> V> ByModule<'a, V, F> {
    /// `without` stands for a module of which nothing is known; the temperatures name every configured one.
    pub(super) fn new<const THERMISTORS: usize>(
        temperatures: &'a Temperatures<THERMISTORS>,
        config: &Config,
        without: V,
        of: F,
    ) -> Self {
        let modules = temperatures.modules.iter();
        Self { modules, cells_per_module: config.pack.cells_per_module, left: 0, value: without, of }
    }

    /// Of the next cell.
    pub(super) fn next(&mut self) -> V {
        if self.left == 0 {
            self.left = self.cells_per_module;
            if let Some(range) = self.modules.next() {
                self.value = (self.of)(range);
            }
        }
        self.left = self.left.saturating_sub(1);
        self.value
    }
}
