//! The bounds of ingest as values: every size that a file can claim meets one before allocation.

/// Bounds and choices of ingest. Start from `IngestOptions::default()` and assign.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct IngestOptions {
    /// Files and folders in one job folder; more is an error of the job. Default 50 000: a large job
    /// has a few thousand photos.
    pub max_files: usize,
    /// Folder levels below the job folder; deeper folders are left out with a reason. Default 16.
    pub max_depth: usize,
    /// Bytes of one photo file. Default 96 MiB: phone and camera pictures stay under 60 MiB.
    pub max_file_bytes: u64,
    /// Width times height of one photo, pixels. Default 120 million: above phone sensors in use.
    pub max_pixels: u64,
    /// Width or height of one photo, pixels. Default 65 535, the limit of JPEG.
    pub max_side: u32,
    /// Bytes that decoding one photo may hold at a time, the file included. Default 320 MiB.
    pub max_decode_bytes: u64,
    /// Bytes that all photos being decoded at the same time may hold. Default 384 MiB.
    pub max_total_decode_bytes: u64,
    /// Bytes that all photo files being read at the same time may hold. Default 192 MiB: two of the largest.
    pub max_total_file_bytes: u64,
    /// Bytes of Exif or XMP that are parsed in one photo. Default 1 MiB (JPEG allows 64 KiB of Exif).
    pub max_metadata_bytes: usize,
    /// Bytes of one `photos.csv`. Default 8 MiB.
    pub max_csv_bytes: u64,
    /// Bytes that the entries of a .zip may unpack to, all together. Default 16 GiB.
    pub max_archive_bytes: u64,
    /// How many times larger than packed an entry above 1 MiB may be. Default 250: photos hardly
    /// shrink, and packed zeros reach 1032 (the limit of Deflate).
    pub max_archive_ratio: u64,
    /// Bytes of the table of contents of a .zip. Default 32 MiB.
    pub max_archive_directory_bytes: u64,
    /// Whether the file system's modification time is listed among the times. Default no: a copied
    /// job folder must give the same report.
    pub file_system_time: bool,
    /// Long side of the working picture, pixels.
    /// Default [`WORKING_LONG_SIDE`](crate::ingest::pixels::WORKING_LONG_SIDE).
    pub working_long_side: u32,
}

impl Default for IngestOptions {
    fn default() -> Self {
        Self {
            max_files: 50_000,
            max_depth: 16,
            max_file_bytes: 96 << 20,
            max_pixels: 120_000_000,
            max_side: 65_535,
            max_decode_bytes: 320 << 20,
            max_total_decode_bytes: 384 << 20,
            max_total_file_bytes: 192 << 20,
            max_metadata_bytes: 1 << 20,
            max_csv_bytes: 8 << 20,
            max_archive_bytes: 16 << 30,
            max_archive_ratio: 250,
            max_archive_directory_bytes: 32 << 20,
            file_system_time: false,
            working_long_side: crate::ingest::pixels::WORKING_LONG_SIDE,
        }
    }
}
