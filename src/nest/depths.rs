//! How deep one form lies in another, as a table over the lattice.

/// Depths, µm, of one form in another, by the steps from the lower left corner of the other's box
/// to that of its own.
#[derive(Debug)]
pub(super) struct Depths {
    x0: i32,
    y0: i32,
    width: usize,
    depths: Vec<f32>,
}

impl Depths {
    /// Of a form whose box has the sides `mine` in one whose box has the sides `theirs`; it reaches
    /// `beyond` that, all in steps.
    pub fn new(
        theirs: (i32, i32),
        mine: (i32, i32),
        beyond: i32,
        depth: impl Fn(i32, i32) -> f64,
    ) -> Depths {
        let (x0, y0) = (1 - mine.0 - beyond, 1 - mine.1 - beyond);
        let (x1, y1) = (theirs.0 + beyond, theirs.1 + beyond);
        let depths = (y0..y1)
            .flat_map(|y| (x0..x1).map(move |x| (x, y)))
            .map(|(x, y)| depth(x, y) as f32)
            .collect();
        Depths { x0, y0, width: (x1 - x0).max(1) as usize, depths }
    }

    /// How many depths the table has.
    pub fn entries(&self) -> usize {
        self.depths.len()
    }

    #[inline]
    fn rows(&self) -> i32 {
        (self.depths.len() / self.width) as i32
    }

    /// The depth at a place; none beyond the table.
    #[inline]
    pub fn at(&self, x: i32, y: i32) -> f32 {
        let (x, y) = (x - self.x0, y - self.y0);
        let inside = x >= 0 && y >= 0 && (x as usize) < self.width && y < self.rows();
        if inside { self.depths[y as usize * self.width + x as usize] } else { 0.0 }
    }

    /// Adds the depths times `weight` to the costs of `wide` by so many places, for a body whose
    /// corner is at `(x, y)`.
    #[inline]
    pub fn add(&self, costs: &mut [f32], wide: i32, (x, y): (i32, i32), weight: f32) {
        let high = costs.len() as i32 / wide;
        let (left, low) = (x + self.x0, y + self.y0);
        let (from, to) = (left.max(0), (left + self.width as i32).min(wide));
        if from >= to {
            return;
        }
        for row in low.max(0)..(low + self.rows()).min(high) {
            let costs = &mut costs[(row * wide + from) as usize..(row * wide + to) as usize];
            let start = (row - low) as usize * self.width + (from - left) as usize;
            for (cost, depth) in costs.iter_mut().zip(&self.depths[start..]) {
                *cost += weight * depth;
            }
        }
    }
}
