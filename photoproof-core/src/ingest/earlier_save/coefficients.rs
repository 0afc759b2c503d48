//! The lowest luma coefficients of a JPEG as coded: sequential, Huffman coded, 8 bits (ITU-T T.81, annex F).

use crate::ingest::container::JpegSegments;
use crate::ingest::traces::add_tables;

/// Coefficients kept of a block, in zigzag order: DC and the nine after it.
pub(super) const KEPT: usize = 10;
/// Most blocks that are kept: 67 million pixels.
const MOST_BLOCKS: usize = 1 << 20;

/// A luma block that lies whole inside the picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Block {
    /// Column and row in blocks of 8 x 8 pixels.
    pub(super) place: [u16; 2],
    /// Quantised coefficients.
    pub(super) values: [i16; KEPT],
}

/// Low luma coefficients of a picture.
#[derive(Debug, Clone)]
pub(super) struct Coefficients {
    /// Blocks in the order of the file, as far as it was read.
    pub(super) blocks: Vec<Block>,
    /// Columns and rows of whole blocks of the picture.
    pub(super) size: [u16; 2],
    /// Width and height of the picture as stored.
    pub(super) pixels: [u16; 2],
    /// Quantisation steps.
    pub(super) steps: [u16; KEPT],
}

impl Coefficients {
    /// Bytes that all blocks of the picture take.
    pub(super) fn room(&self) -> u64 {
        let [wide, high] = self.size.map(u64::from);
        (wide * high).min(MOST_BLOCKS as u64) * size_of::<Block>() as u64
    }
}

/// Reads at most `budget` bytes of the first scan of `file`; `None` for other kinds of JPEG. What cannot be decoded ends it
/// early.
pub(super) fn read(file: &[u8], budget: usize) -> Option<Coefficients> {
    let header = Header::read(file)?;
    let data = file.get(header.data..)?;
    let mut scan = Scan {
        bits: Bits::new(data.get(..budget).unwrap_or(data)),
        predicted: vec![0; header.components.len()],
        blocks: Vec::new(),
        header: &header,
    };
    scan.read();
    Some(Coefficients {
        blocks: scan.blocks,
        size: header.whole_blocks(),
        pixels: [header.width, header.height],
        steps: header.steps,
    })
}

/// A component of the scan.
struct Component {
    /// Blocks of one unit, across and down.
    across: u16,
    down: u16,
    dc: Table,
    ac: Table,
}

/// What the segments before the coded data say.
struct Header {
    width: u16,
    height: u16,
    /// Units of the scan in a row, and rows of them.
    units: [u16; 2],
    /// Components of the scan, luma first.
    components: Vec<Component>,
    /// Units between restart markers, 0 for none.
    restart: u16,
    steps: [u16; KEPT],
    /// Offset of the coded data.
    data: usize,
}

impl Header {
    fn read(file: &[u8]) -> Option<Self> {
        let mut frame: &[u8] = &[];
        let mut quantisation = [None, None];
        let mut tables: [[Option<Table>; 4]; 2] = Default::default();
        let mut restart = 0;
        for segment in JpegSegments::new(file) {
            match segment.marker {
                0xC0 | 0xC1 => frame = segment.payload,
                0xC4 => add_codes(segment.payload, &mut tables),
                0xDB => add_tables(segment.payload, &mut quantisation),
                0xDD => {
                    restart = segment
                        .payload
                        .first_chunk()
                        .copied()
                        .map_or(0, u16::from_be_bytes);
                }
                0xDA => {
                    let all = Tables {
                        quantisation,
                        codes: tables,
                    };
                    return Self::of_scan(frame, segment.payload, &all, restart, segment.end);
                }
                _ => {}
            }
        }
        None
    }

    fn of_scan(
        frame: &[u8],
        scan: &[u8],
        tables: &Tables,
        restart: u16,
        data: usize,
    ) -> Option<Self> {
        let (&[8, h1, h0, w1, w0, count], rest) = frame.split_first_chunk::<6>()? else {
            return None;
        };
        let [height, width] = [[h1, h0], [w1, w0]].map(u16::from_be_bytes);
        let described: Vec<&[u8]> = rest.chunks_exact(3).take(usize::from(count)).collect();
        let &[name, sampling, table] = *described.first()? else {
            return None;
        };
        let (&of_scan, chosen) = scan.split_first()?;
        let chosen: Vec<&[u8]> = chosen.chunks_exact(2).take(usize::from(of_scan)).collect();
        // A scan of one component goes block by block (A.2.2).
        let is_single = chosen.len() == 1;
        let is_whole = is_single || chosen.len() == described.len();
        if !is_whole || !matches!(described.len(), 1 | 3) || chosen.first()?.first() != Some(&name)
        {
            return None;
        }
        let mut components = Vec::new();
        for (described, chosen) in described.iter().zip(&chosen) {
            let (&[name, factors, _], &[same, codes]) = (*described, *chosen) else {
                return None;
            };
            let factors = if is_single { 0x11 } else { factors };
            let [across, down] = [factors >> 4, factors & 15].map(u16::from);
            let largest = [sampling >> 4, sampling & 15].map(u16::from);
            let fits = (1..=4).contains(&across) && (1..=4).contains(&down);
            if name != same || !fits || !is_single && [across, down] > largest {
                return None;
            }
            components.push(Component {
                across,
                down,
                dc: tables.code(0, codes >> 4)?,
                ac: tables.code(1, codes & 15)?,
            });
        }
        let luma = components.first()?;
        let units = [
            width.div_ceil(8 * luma.across),
            height.div_ceil(8 * luma.down),
        ];
        let steps = tables.quantisation.get(usize::from(table))?.as_ref()?;
        Some(Self {
            width,
            height,
            units,
            restart,
            steps: *steps.first_chunk()?,
            data,
            components,
        })
    }

    fn whole_blocks(&self) -> [u16; 2] {
        [self.width / 8, self.height / 8]
    }
}

/// Tables named by number.
struct Tables {
    quantisation: [Option<[u16; 64]>; 2],
    /// Codes of DC and of AC.
    codes: [[Option<Table>; 4]; 2],
}

impl Tables {
    fn code(&self, class: usize, number: u8) -> Option<Table> {
        self.codes.get(class)?.get(usize::from(number))?.clone()
    }
}

/// Length of the code and symbol by the next 16 bits; length 0 where no code begins so.
#[derive(Debug, Clone)]
struct Table(std::sync::Arc<[[u8; 2]]>);

impl Table {
    /// From the number of codes of each length and the symbols (annex C).
    fn new(counts: &[u8; 16], symbols: &[u8]) -> Option<Self> {
        let mut table = vec![[0; 2]; 1 << 16];
        let mut symbols = symbols.iter();
        let mut at = 0;
        for (length, count) in (1u8..).zip(counts) {
            for _ in 0..*count {
                let end = at + (1usize << (16 - length));
                let symbol = *symbols.next()?;
                table.get_mut(at..end)?.fill([length, symbol]);
                at = end;
            }
        }
        Some(Self(table.into()))
    }
}

/// Adds the codes of one DHT segment (B.2.4.2); stops at what is no table.
fn add_codes(mut payload: &[u8], tables: &mut [[Option<Table>; 4]; 2]) {
    while let Some((&[head, ref counts @ ..], rest)) = payload.split_first_chunk::<17>() {
        let count = counts.iter().map(|&count| usize::from(count)).sum();
        let Some((symbols, rest)) = rest.split_at_checked(count) else {
            return;
        };
        let class = tables.get_mut(usize::from(head >> 4));
        if let Some(slot) = class.and_then(|class| class.get_mut(usize::from(head & 15))) {
            *slot = Table::new(counts, symbols);
        }
        payload = rest;
    }
}

/// The bits of coded data without their stuffed zeros.
struct Bits<'a> {
    data: &'a [u8],
    at: usize,
    /// The next bits, the first one on top.
    ahead: u64,
    count: u32,
}

impl<'a> Bits<'a> {
    fn new(data: &'a [u8]) -> Self {
        Self {
            data,
            at: 0,
            ahead: 0,
            count: 0,
        }
    }

    fn fill(&mut self) {
        while self.count <= 56 {
            let byte = match self.data.get(self.at..) {
                Some([0xFF, 0, ..]) => {
                    self.at += 2;
                    0xFF
                }
                Some([0xFF, ..] | []) | None => return,
                Some([byte, ..]) => {
                    self.at += 1;
                    *byte
                }
            };
            self.ahead |= u64::from(byte) << (56 - self.count);
            self.count += 8;
        }
    }

    /// Takes `count` bits, at most 16.
    fn take(&mut self, count: u32) -> Option<u32> {
        if self.count < count {
            self.fill();
        }
        self.count = self.count.checked_sub(count)?;
        let value = self.ahead.checked_shr(64 - count).unwrap_or(0);
        self.ahead <<= count;
        u32::try_from(value).ok()
    }

    fn symbol(&mut self, table: &Table) -> Option<u8> {
        if self.count < 16 {
            self.fill();
        }
        let [length, symbol] = *table.0.get((self.ahead >> 48) as usize)?;
        if length == 0 {
            return None;
        }
        self.take(u32::from(length))?;
        Some(symbol)
    }

    /// A value of `size` bits with its sign (F.2.2.1).
    fn value(&mut self, size: u8) -> Option<i32> {
        let size = u32::from(size);
        let bits = self.take(size)? as i32;
        let is_negative = size > 0 && bits >> (size - 1) == 0;
        Some(if is_negative {
            bits - (1 << size) + 1
        } else {
            bits
        })
    }

    /// Goes on behind the restart marker that stands here.
    fn restart(&mut self) -> Option<()> {
        (self.ahead, self.count) = (0, 0);
        let [0xFF, 0xD0..=0xD7] = self.data.get(self.at..self.at + 2)? else {
            return None;
        };
        self.at += 2;
        Some(())
    }
}

struct Scan<'a> {
    bits: Bits<'a>,
    /// Last DC of each component.
    predicted: Vec<i32>,
    blocks: Vec<Block>,
    header: &'a Header,
}

impl Scan<'_> {
    fn read(&mut self) {
        let [columns, rows] = self.header.units;
        let units = (0..rows).flat_map(|row| (0..columns).map(move |column| [column, row]));
        let restart = u64::from(self.header.restart);
        for (number, unit) in (0u64..).zip(units) {
            if restart > 0 && number > 0 && number % restart == 0 {
                if self.bits.restart().is_none() {
                    return;
                }
                self.predicted.fill(0);
            }
            if self.unit(unit).is_none() || self.blocks.len() >= MOST_BLOCKS {
                return;
            }
        }
    }

    /// Reads one unit of the scan.
    fn unit(&mut self, [column, row]: [u16; 2]) -> Option<()> {
        let [width, height] = self.header.whole_blocks();
        for (index, component) in self.header.components.iter().enumerate() {
            for y in 0..component.down {
                for x in 0..component.across {
                    let values = self.block(index, component)?;
                    let place = [column * component.across + x, row * component.down + y];
                    if index == 0 && place[0] < width && place[1] < height {
                        self.blocks.push(Block { place, values });
                    }
                }
            }
        }
        Some(())
    }

    fn block(&mut self, index: usize, component: &Component) -> Option<[i16; KEPT]> {
        let mut values = [0; KEPT];
        let size = self.bits.symbol(&component.dc)?;
        let step = self.bits.value(size.min(16))?;
        let predicted = self.predicted.get_mut(index)?;
        *predicted = predicted.wrapping_add(step);
        values[0] = *predicted as i16;
        let mut at = 1;
        while at < 64 {
            let symbol = self.bits.symbol(&component.ac)?;
            let (run, size) = (usize::from(symbol >> 4), symbol & 15);
            at += run;
            if size == 0 {
                if run < 15 {
                    break;
                }
            } else {
                let value = self.bits.value(size)?;
                if let Some(kept) = values.get_mut(at) {
                    *kept = value as i16;
                }
            }
            at += 1;
        }
        Some(values)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn fixture(name: &str) -> Vec<u8> {
        let folder =
            std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/coefficients");
        std::fs::read(folder.join(name)).unwrap()
    }

    /// Sums of absolute values as the library of the Independent JPEG Group reads them (`fixtures/coefficients/make.py`).
    #[test]
    fn coefficients_are_those_that_another_reader_finds() {
        let table = String::from_utf8(fixture("sums.csv")).unwrap();
        assert_eq!(table.lines().count(), 5);
        for line in table.lines() {
            let (name, sums) = line.split_once(',').unwrap();
            let file = fixture(name);
            let read = read(&file, file.len()).unwrap();
            let [wide, high] = read.size.map(usize::from);
            assert_eq!(read.blocks.len(), wide * high, "{name}");
            let sum = |index: usize| -> i64 {
                read.blocks
                    .iter()
                    .map(|block| i64::from(block.values[index]).abs())
                    .sum()
            };
            let own: Vec<String> = (0..KEPT).map(|index| sum(index).to_string()).collect();
            assert_eq!(own.join(","), sums, "{name}");
        }
    }

    #[test]
    fn a_cut_file_ends_early_and_other_kinds_are_left_alone() {
        let file = fixture("halved-chroma.jpg");
        let all = read(&file, file.len()).unwrap().blocks;
        for length in (0..file.len()).step_by(37) {
            if let Some(part) = read(&file[..length], length) {
                assert!(all.starts_with(&part.blocks[..part.blocks.len().saturating_sub(4)]));
            }
        }
        assert!(read(&file, 200).unwrap().blocks.len() < all.len() / 2);
        let progressive: Vec<u8> = file
            .windows(2)
            .position(|pair| pair == [0xFF, 0xC0])
            .map_or_else(Vec::new, |at| {
                let mut file = file.clone();
                file[at + 1] = 0xC2;
                file
            });
        assert!(read(&progressive, progressive.len()).is_none());
        assert!(read(b"", 0).is_none());
    }
}
