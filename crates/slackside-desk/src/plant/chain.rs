//! Three bodies in a row, coupled by friction that sticks or slides, each braked against the ground.
//!
//! Drive, head pulley and belt are one such chain; belt, boot pulley and boot shaft are the other. All speeds are those of
//! the rim, so that a rotating body counts with `J / R^2`.
//!
//! Coulomb friction is a rule with two branches: stick, with whatever force that takes, or slide, with the limit. Stepping
//! the force from the speed at the start of the step chatters across zero. Here the speeds *after* the step decide (J. J.
//! Moreau's time stepping): all joints are taken to stick, which is one line of algebra; a joint whose force would pass its
//! limit is held at the limit and the other solved again. Near standstill, where the brakes stick too, the same rule for
//! all five frictions is solved by projected Gauss-Seidel sweeps.

/// The chain, and after [`solve`](Self::solve) its speeds and forces.
#[derive(Clone, Debug)]
pub struct Chain {
    /// Masses in kg.
    pub mass: [f64; 3],
    /// Speeds in m/s: before the step, and after.
    pub speed: [f64; 3],
    /// Forces from outside in N.
    pub force: [f64; 3],
    /// Largest braking force against the ground in N.
    pub brake: [f64; 3],
    /// A backstop holds body 0 against running back.
    pub backstop: bool,
    /// The least and the largest force of each joint in N: positive pulls the later body forward.
    pub limit: [[f64; 2]; 2],
    /// How much faster the earlier body runs when the joint sticks, in m/s.
    pub lead: [f64; 2],
    /// Out: force of each joint in N.
    pub joint: [f64; 2],
    /// Out: braking force of each body in N, signed.
    pub braking: [f64; 3],
}

/// Below this speed in m/s a body may come to rest within a step.
const NEAR_REST: f64 = 0.02;

impl Chain {
    /// A chain at rest.
    #[must_use]
    pub const fn new(mass: [f64; 3]) -> Self {
        Self {
            mass,
            speed: [0.0; 3],
            force: [0.0; 3],
            brake: [0.0; 3],
            backstop: false,
            limit: [[f64::NEG_INFINITY, f64::INFINITY]; 2],
            lead: [0.0; 2],
            joint: [0.0; 2],
            braking: [0.0; 3],
        }
    }

    /// Move on by `dt` seconds.
    pub fn solve(&mut self, dt: f64) {
        let [a, b, c] = self.speed;
        if !(a > NEAR_REST && b > NEAR_REST && c > NEAR_REST && self.solve_running(dt)) {
            self.solve_near_rest(dt);
        }
    }

    /// All bodies turn forward throughout, so every brake is known. False if that proves wrong.
    fn solve_running(&mut self, dt: f64) -> bool {
        let [m0, m1, m2] = self.mass;
        let [o0, o1] = self.lead;
        let alone = |i: usize| self.speed[i] + dt * (self.force[i] - self.brake[i]) / self.mass[i];
        let free = [alone(0), alone(1), alone(2)];
        let together = (m0 * free[0] + m1 * (free[1] + o0) + m2 * (free[2] + o0 + o1)) / (m0 + m1 + m2);
        let mut j0 = m0 * (free[0] - together) / dt;
        let mut j1 = m2 * (together - o0 - o1 - free[2]) / dt;
        let within = |j: f64, [low, high]: [f64; 2]| j >= low && j <= high;
        let speed = if within(j0, self.limit[0]) && within(j1, self.limit[1]) {
            [together, together - o0, together - o0 - o1]
        } else {
            let (first, second) = (1.0 / m0 + 1.0 / m1, 1.0 / m1 + 1.0 / m2);
            let (gap0, gap1) = ((free[0] - free[1] - o0) / dt, (free[1] - free[2] - o1) / dt);
            j0 = j0.clamp(self.limit[0][0], self.limit[0][1]);
            for _ in 0..60 {
                let next1 = ((gap1 + j0 / m1) / second).clamp(self.limit[1][0], self.limit[1][1]);
                let next0 = ((gap0 + next1 / m1) / first).clamp(self.limit[0][0], self.limit[0][1]);
                let change = (next0 - j0).abs() + (next1 - j1).abs();
                (j0, j1) = (next0, next1);
                if change < 1e-9 {
                    break;
                }
            }
            [free[0] - dt * j0 / m0, free[1] + dt * (j0 - j1) / m1, free[2] + dt * j1 / m2]
        };
        if speed[0] < 0.0 || speed[1] < 0.0 || speed[2] < 0.0 {
            return false;
        }
        self.speed = speed;
        self.joint = [j0, j1];
        self.braking = [-self.brake[0], -self.brake[1], -self.brake[2]];
        true
    }

    /// Any body may stop, stand or run back. Starts from the forces of the last step.
    fn solve_near_rest(&mut self, dt: f64) {
        let weight = [0, 1, 2].map(|i| dt / self.mass[i]);
        let bounds = [0, 1, 2].map(|i| {
            let brake = self.brake[i];
            [-brake, if i == 0 && self.backstop { f64::INFINITY } else { brake }]
        });
        for i in 0..2 {
            self.joint[i] = self.joint[i].clamp(self.limit[i][0], self.limit[i][1]);
        }
        for (braking, [low, high]) in self.braking.iter_mut().zip(bounds) {
            *braking = braking.clamp(low, high);
        }
        let [j0, j1] = self.joint;
        let pull = [-j0, j0 - j1, j1];
        let mut v = [0, 1, 2].map(|i| self.speed[i] + weight[i] * (self.force[i] + self.braking[i] + pull[i]));
        for _ in 0..400 {
            let mut change = 0.0_f64;
            for i in 0..3 {
                let next = (self.braking[i] - v[i] / weight[i]).clamp(bounds[i][0], bounds[i][1]);
                let delta = next - self.braking[i];
                self.braking[i] = next;
                v[i] += weight[i] * delta;
                change = change.max(delta.abs());
            }
            for i in 0..2 {
                let slack = (v[i] - v[i + 1] - self.lead[i]) / (weight[i] + weight[i + 1]);
                let next = (self.joint[i] + slack).clamp(self.limit[i][0], self.limit[i][1]);
                let delta = next - self.joint[i];
                self.joint[i] = next;
                v[i] -= weight[i] * delta;
                v[i + 1] += weight[i + 1] * delta;
                change = change.max(delta.abs());
            }
            if change < 1e-6 {
                break;
            }
        }
        // What the sweeps leave of a standing body is rounding, not motion.
        self.speed = v.map(|speed| if speed.abs() < 1e-9 { 0.0 } else { speed });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sticks_while_it_can_and_shares_the_force_by_mass() {
        let mut chain = Chain::new([10.0, 20.0, 30.0]);
        chain.speed = [1.0; 3];
        chain.force = [60.0, 0.0, 0.0];
        chain.solve(0.01);
        assert!(chain.speed.iter().all(|speed| (speed - 1.01).abs() < 1e-12));
        assert!((chain.joint[0] - 50.0).abs() < 1e-9 && (chain.joint[1] - 30.0).abs() < 1e-9);
    }

    #[test]
    fn slides_at_the_limit_and_sticks_again_without_chatter() {
        let mut chain = Chain::new([10.0, 10.0, 10.0]);
        chain.limit[1] = [-50.0, 50.0];
        chain.speed = [3.0, 3.0, 2.0];
        let mut sticking_since = None;
        for step in 0..1_000 {
            chain.solve(0.001);
            let sticks = chain.speed[1] == chain.speed[2] || (chain.speed[1] - chain.speed[2]).abs() < 1e-12;
            match (sticks, sticking_since) {
                (true, None) => sticking_since = Some(step),
                (false, Some(since)) => panic!("slides again at {step} after sticking from {since}"),
                _ => {}
            }
        }
        // Momentum: (20 * 3 + 10 * 2) / 30; 1 m/s is lost at 50/10 + 50/20 = 7.5 m/s^2.
        assert!((chain.speed[0] - 8.0 / 3.0).abs() < 1e-9);
        assert_eq!(sticking_since, Some(133));
    }

    #[test]
    fn both_ways_of_solving_agree() {
        for limit in [1e9, 40.0, 5.0] {
            let mut one = Chain::new([10.0, 20.0, 30.0]);
            one.speed = [2.0, 2.0, 1.9];
            one.force = [100.0, 0.0, -50.0];
            one.brake = [5.0, 3.0, 2.0];
            one.limit = [[-limit, limit]; 2];
            let mut other = one.clone();
            assert!(one.solve_running(0.002));
            other.solve_near_rest(0.002);
            for i in 0..3 {
                assert!((one.speed[i] - other.speed[i]).abs() < 1e-8, "{limit}: {:?} {:?}", one.speed, other.speed);
            }
        }
    }

    #[test]
    fn brakes_hold_at_rest_and_a_backstop_holds_any_load() {
        let mut chain = Chain::new([10.0, 10.0, 100.0]);
        chain.brake = [10.0, 10.0, 10.0];
        chain.force = [0.0, 0.0, -25.0];
        for _ in 0..100 {
            chain.solve(0.002);
        }
        assert_eq!(chain.speed, [0.0; 3]);
        chain.force[2] = -5_000.0;
        chain.backstop = true;
        for _ in 0..100 {
            chain.solve(0.002);
        }
        assert!(chain.speed[2].abs() < 1e-4, "{:?}", chain.speed);
        chain.backstop = false;
        for _ in 0..100 {
            chain.solve(0.002);
        }
        assert!(chain.speed[2] < -5.0);
    }
}
