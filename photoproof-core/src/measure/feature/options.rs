//! Tuning of detector and descriptor, with the values that measurement chose.

/// Tuning of detector and descriptor.
///
/// The defaults were chosen on two rendered houses, each clean and with motion blur, noise, exposure and
/// compression added, where all four agreed; `benches/compare_opencv.py` prints the numbers.
/// Descriptors stay upright: hand-held photos roll by a few degrees only, and turning descriptors to a
/// dominant direction cost a quarter of the true matches of matched pairs. Describing several region
/// sizes at once gained 3 % for three times the work and was left out.
#[derive(Debug, Clone, PartialEq)]
pub struct FeatureOptions {
    /// Features kept at most.
    pub max_features: usize,
    /// Blur of the first scale-space level, working pixels.
    pub base_sigma: f32,
    /// Scale-space levels an octave.
    pub levels: usize,
    /// Octaves at most.
    pub max_octaves: usize,
    /// Least response of a candidate, share of full scale. Low, so that plain regions keep some:
    /// which candidates stay is decided by their spread.
    pub min_response: f32,
    /// Largest ratio of the principal curvatures (Lowe 2004, section 4.1).
    pub edge_ratio: f32,
    /// Width of a descriptor cell in units of the keypoint's scale.
    pub cell_width: f32,
    /// Share of the feature budget that is dealt out evenly over the cells of the spreading grid.
    pub even_share: f32,
}

impl Default for FeatureOptions {
    fn default() -> Self {
        Self {
            max_features: 2500,
            base_sigma: 1.2,
            levels: 3,
            max_octaves: 6,
            min_response: 0.001,
            edge_ratio: 40.0,
            cell_width: 4.5,
            even_share: 0.5,
        }
    }
}
