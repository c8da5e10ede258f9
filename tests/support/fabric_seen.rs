//! What a comparison of layer 2 has seen.

use boundwalk::model::Site;

use crate::frames::{Spot, Tags, Trip};

/// What was seen, so that a test that compares nothing with nothing fails.
#[derive(Clone, Default, Debug)]
pub struct Seen {
    pub taken: usize,
    pub left: usize,
    pub far: usize,
    pub tagged: usize,
    pub two_tags_hop: usize,
    pub by_lag: usize,
    pub by_bridge: usize,
    pub by_wire: usize,
    pub by_isolated: usize,
    pub nowhere: usize,
    pub named: usize,
    pub vacant: usize,
}

impl Seen {
    pub fn count(&mut self, site: &Site, trips: &[Trip]) {
        for trip in trips {
            self.taken += trip.interfaces.len();
            self.left += trip.left.len();
            self.nowhere += usize::from(trip.steps.is_empty());
            self.far += usize::from(trip.interfaces.values().any(|&far| 3 <= far));
            self.tagged += usize::from(trip.took.iter().any(|(_, tags, _)| !tags.is_empty()));
            let mut steps = trip.steps.iter();
            let hop =
                |(_, came, _, left): &(Spot, Tags, Spot, Tags)| came.len() == 2 && left.len() == 1;
            self.two_tags_hop += usize::from(steps.any(hop));
            for (here, _, out, _) in &trip.steps {
                let isolated = |spot: &Spot| match *spot {
                    Spot::Port(switch, port) => site.switches[switch].ports[port].isolated,
                    Spot::Lag(switch, lag) => site.switches[switch].lags[lag].isolated,
                    _ => false,
                };
                let places = [here, out];
                let any = |is: fn(&Spot) -> bool| usize::from(places.iter().any(|spot| is(spot)));
                self.by_lag += any(|spot| matches!(spot, Spot::Lag(..)));
                self.by_bridge += any(|spot| matches!(spot, Spot::Interface(..)));
                self.by_wire += any(|spot| matches!(spot, Spot::Neighbours(..)));
                self.by_isolated += usize::from(places.iter().any(|spot| isolated(spot)));
            }
        }
    }

    pub fn add(&mut self, other: &Self) {
        let [mine, theirs] = [&*self, other].map(Self::counts);
        let sum: Vec<usize> = mine.iter().zip(theirs).map(|(a, b)| a + b).collect();
        *self = Self {
            taken: sum[0],
            left: sum[1],
            far: sum[2],
            tagged: sum[3],
            two_tags_hop: sum[4],
            by_lag: sum[5],
            by_bridge: sum[6],
            by_wire: sum[7],
            by_isolated: sum[8],
            nowhere: sum[9],
            named: sum[10],
            vacant: sum[11],
        };
    }

    fn counts(&self) -> [usize; 12] {
        [
            self.taken,
            self.left,
            self.far,
            self.tagged,
            self.two_tags_hop,
            self.by_lag,
            self.by_bridge,
            self.by_wire,
            self.by_isolated,
            self.nowhere,
            self.named,
            self.vacant,
        ]
    }

    pub fn assert_varied(&self) {
        let counts = self.counts();
        let frames = &counts[..10];
        assert!(
            frames.iter().all(|&count| 500 < count),
            "the sites are too tame: {self:?}"
        );
    }
}
