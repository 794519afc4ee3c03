// Change points of a measured series by a two-sided CUSUM: how long to wait before a shift is believed is a matter of
// run lengths, which are published. Upper sum S = max(0, S + z − k), alarm at S > h; the lower one mirrored.
#pragma once

#include <optional>
#include <vector>

namespace fettle::watch {

class Cusum {
public:
    // k and h in standard deviations. k = 0.5 and h = 5 (465 readings on average until a false alarm, 10.4 to see a
    // shift by one standard deviation) serve the watch.
    Cusum(double target, double sigma, double k = 0.5, double h = 5);

    // +1: it has risen, −1: it has fallen, 0: no alarm. What is no number changes nothing.
    int take(double value);
    double upper() const { return upper_; }
    double lower() const { return lower_; }
    int since() const { return upper_ >= lower_ ? up_since_ : down_since_; }  // readings since that sum left zero

private:
    double target_, sigma_, k_, h_;
    double upper_ = 0, lower_ = 0;
    int up_since_ = 0, down_since_ = 0;
};

struct SeriesPoint {
    double at_s = 0;
    double value = 0;
};

struct ChangePoint {
    double at_s = 0;  // when it began, by the sum's last zero
    double before = 0, after = 0;
};
// Steps of the level, reading by reading as they come. Each level is learnt from its first eight readings; a step is
// handed out when eight of the new level are there. floor_sigma: no series is taken to be quieter than that. What it
// says of a stretch does not depend on what comes later.
class LevelSteps {
public:
    explicit LevelSteps(double floor_sigma) : floor_sigma_(floor_sigma) {}
    std::optional<ChangePoint> take(double at_s, double value);

private:
    double quiet_sigma() const;

    double floor_sigma_;
    std::vector<SeriesPoint> stretch_;  // of the present level, from its first reading
    std::vector<double> noise_;         // from one reading to the next, the last sixty
    std::optional<Cusum> sums_;         // none while a level is learnt
    double before_ = 0;
    bool stepped_ = false;  // the level that is learnt came by a step
};

}  // namespace fettle::watch
