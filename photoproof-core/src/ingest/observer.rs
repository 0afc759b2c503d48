//! Who looks at the pixels of each photo, and may know a photo already.

use crate::ingest::{Photo, Pixels};

/// Sees every readable photo once, while its pixels are in memory.
pub trait Observer: Sync {
    /// What is kept of a photo.
    type Seen: Send;

    /// Looks at a photo.
    fn observe(&self, photo: &Photo, pixels: &Pixels) -> Self::Seen;

    /// What was seen of the same file before; its pixels are then not decoded. Has to fill in the members of `photo`
    /// that decoding tells: `width`, `height` and `stamp`. Labels are not known yet.
    fn recall(&self, photo: &mut Photo) -> Option<Self::Seen> {
        let _ = photo;
        None
    }
}

/// A closure that looks at every photo.
pub(super) struct Look<F>(pub(super) F);

impl<M: Send, F: Fn(&Photo, &Pixels) -> M + Sync> Observer for Look<F> {
    type Seen = M;

    fn observe(&self, photo: &Photo, pixels: &Pixels) -> M {
        (self.0)(photo, pixels)
    }
}
