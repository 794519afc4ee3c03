// Why the acts share a factor. A slow stick is slow in every act: whoever saw the first two take half as long again
// expects the same of the third. Acts drawn by themselves could not learn that, and their sum would be far too sure of
// itself. So a chain of acts stands side by side on fifteen levels of one factor; the evidence moves chance between the
// levels, and the forecast of what is left follows.
//
// How much of each act's spread is shared is not known of any family. It is chosen so that the total has the spread
// that the forecast gives it, for that is what own runs measure.
#include "fettle/watch/model.h"

#include <algorithm>
#include <cmath>

#include "fettle/forecast/random.h"

namespace fettle::watch {
namespace {

using family::ActKind;

constexpr double kZ90 = 1.2815515655446004;  // the 90 % point of the standard normal distribution
constexpr int kValues = 12;                  // of the shared factor
constexpr double kZ[kValues] = {-3, -2.2, -1.5, -0.9, -0.3, 0.3, 0.9, 1.5, 2.2, 3, 4, 5.2};
constexpr std::size_t kLongest = 1500;  // ages that a table holds; beyond them the last chance stands
constexpr double kPerson_s = 600;       // of those who are not at the box when it asks: mean time until they are
constexpr double kAway = 0.4;           // share of asks for which nobody stands ready
constexpr double kTogether = 0.1;       // share of asks whose answer is tapped right after them
constexpr double kTogether_s = 2;       // and how long that takes
// A medium far slower than any the figures come from, and how often (guess): what it writes and reads takes so much
// longer.
constexpr double kSlowMedia[][2] = {{1.5, 0.002}, {2.2, 0.001}, {3.3, 0.0005}};

bool on_medium(ActKind k) {
    return k == ActKind::read || k == ActKind::compare || k == ActKind::write;
}

const forecast::StateWindow* window_of(const forecast::Forecast& forecast, const std::string& act) {
    for (const forecast::StateWindow& w : forecast.states) {
        if (w.act == act) return &w;
    }
    return nullptr;
}

}  // namespace

Model::Model(const Step& step, bool on_bench) : script_(step.family.script) {
    acts(step, on_bench);
    calibrate(step.forecast);
    levels_of_shared_factor(3 + std::max(0, step.forecast.own_runs));
    currents(step.family.stuck);
    astray_a_second_ = kRates.astray / std::max(60.0, total_s_);
    std::vector<Forward::State> states;
    for (std::size_t level = 0; level < levels(); ++level) {
        for (std::size_t k = 0; k < chain_.size(); ++k) {
            Forward::State s;
            if (!chain_[k].end) s.leaves = leaves(k, level);
            s.next = state(std::min(k + 1, chain_.size() - 1), level);
            states.push_back(std::move(s));
        }
    }
    for (std::size_t i = 0; i <= kWaysStuck * chain_.size(); ++i) states.push_back({{}, 0});
    start_.emplace(std::move(states));
    for (std::size_t level = 0; level < levels(); ++level) start_->put(state(0, level), weight_[level]);
    start_->normalise();
}

// The acts that last, with what the forecast says of each.
void Model::acts(const Step& step, bool on_bench) {
    int written = 0;
    for (std::size_t i = 0; i < script_.size(); ++i) {
        const forecast::StateWindow* w = window_of(step.forecast, script_[i].id);
        ChainAct a;
        a.act = i;
        a.end = script_[i].kind == ActKind::end;
        if (w) a.median_s = w->lasts.p50_s;
        a.waits = script_[i].kind == ActKind::ask || (on_bench && !script_[i].wake.empty());
        if (!(a.median_s > 0) && !a.end && !a.waits) continue;
        if (a.median_s <= 0) a.median_s = 1;
        if (w && w->lasts.p90_s > w->lasts.p50_s) a.own = std::log(w->lasts.p90_s / a.median_s) / kZ90;
        if (w && w->current_mean_A > 0) {
            a.mean_A = w->current_mean_A;
            a.sd_A = std::max({(w->current_p99_A - a.mean_A) / 2.326, 0.05 * a.mean_A, 0.03});
        }
        a.dark = script_[i].dark;
        a.on_medium = on_medium(script_[i].kind);
        a.pieces_before = written;
        if (script_[i].kind == ActKind::write)
            a.pieces = static_cast<int>(forecast::lines_of(step.family, step.sheet, script_[i]).size());
        written += a.pieces;
        if (!a.end) total_s_ += a.median_s;
        chain_.push_back(a);
    }
    if (chain_.empty() || !chain_.back().end) {  // a script that does not say how it ends
        ChainAct end;
        end.act = script_.size() - 1;
        end.end = true;
        end.pieces_before = written;
        chain_.push_back(end);
    }
}

// Student's t, as the forecast's own predictive: a prior worth three runs, and the own runs. Scaled so that the 90 %
// point stays the forecast's; what lies beyond is far likelier than a normal distribution has it.
void Model::levels_of_shared_factor(int degrees) {
    const double scale = forecast::student_quantile(0.9, degrees) / kZ90;
    std::vector<double> z(std::begin(kZ), std::end(kZ)), extra(kValues, 1.0);
    for (int v = 0; v < kValues; ++v) {
        const double t = kZ[v] * scale;
        const double low = v > 0 ? kZ[v - 1] : kZ[v], high = v + 1 < kValues ? kZ[v + 1] : kZ[v];
        weight_.push_back((high - low) * std::pow(1 + t * t / degrees, -(degrees + 1) / 2.0));
    }
    double all = 0;
    for (double w : weight_) all += w;
    for (double& w : weight_) w /= all;
    for (const auto& [slower, share] : kSlowMedia) {
        z.push_back(0);
        extra.push_back(slower);
        weight_.push_back(share);
        for (int v = 0; v < kValues; ++v) weight_[static_cast<std::size_t>(v)] *= 1 - share;
    }
    for (std::size_t level = 0; level < levels(); ++level) {
        for (const ChainAct& a : chain_)
            medians_.push_back(a.median_s * (std::exp(a.shared * z[level]) * (a.on_medium ? extra[level] : 1)));
    }
}

void Model::currents(const std::optional<family::Stuck>& stuck) {
    double highest_A = 0;
    for (const ChainAct& a : chain_) {
        if (!a.waits) highest_A = std::max(highest_A, a.mean_A);
        top_A_ = std::max(top_A_, a.mean_A + 4 * a.sd_A);
    }
    low_A_ = 0.5 * highest_A;
    if (stuck && stuck->low_A) low_A_ = *stuck->low_A;
    stuck_run_ = stuck ? stuck->prior : kRates.stuck;
    stuck_low_ = low_A_ <= 0 ? 0 : stuck && stuck->low_when_stuck ? *stuck->low_when_stuck : kRates.stuck_low;
}

// How much of each act's spread is shared: so much that the total's spread is the forecast's (which may have learnt
// from own runs); if even all of it is too little, every act is spread wider. And all are moved so that the medians
// agree.
void Model::calibrate(const forecast::Forecast& forecast) {
    if (!(forecast.total.p50_s > 0) || !(total_s_ > 0)) return;
    // The linear part of the total: Σ m (a z + b w); its spread in ln is about that of the total.
    const double wanted = std::log(std::max(1.0, forecast.total.p90_s / forecast.total.p50_s)) / kZ90;
    const auto spread = [&](double part) {
        double common = 0, apart = 0;
        for (const ChainAct& a : chain_) {
            if (a.end) continue;
            common += a.median_s * a.own * std::sqrt(part);
            apart += a.median_s * a.median_s * a.own * a.own * (1 - part);
        }
        return std::sqrt(common * common + apart) / total_s_;
    };
    double low = 0, high = 1;
    for (int i = 0; i < 30; ++i) {
        const double part = (low + high) / 2;
        (spread(part) < wanted ? low : high) = part;
    }
    const double part = (low + high) / 2;
    const double wider = part > 0.999 && spread(1) > 0 ? std::max(1.0, wanted / spread(1)) : 1;
    for (ChainAct& a : chain_) {
        const double sigma = a.own * wider;
        a.shared = sigma * std::sqrt(part);
        a.own = sigma * std::sqrt(1 - part);
    }
}

double Model::lasts_beyond(std::size_t k, std::size_t level, double seconds) const {
    const ChainAct& a = chain_[k];
    if (a.end) return 1;
    if (seconds <= 0) return 1;
    const double median = median_s(k, level);
    if (a.own <= 1e-9) return seconds < median ? 1 : 0;
    return forecast::normal_cdf(-std::log(seconds / median) / a.own);
}

double Model::seconds(std::size_t k, std::size_t level, double normal) const {
    const ChainAct& a = chain_[k];
    return a.end ? 0 : median_s(k, level) * std::exp(a.own * normal);
}

// By whole seconds. Whoever is asked may be away: part of the asks waits for a person, not for the box.
std::vector<double> Model::leaves(std::size_t k, std::size_t level) const {
    const ChainAct& a = chain_[k];
    const auto survives = [&](double s) {
        const double good = lasts_beyond(k, level, s);
        return a.waits ? (1 - kAway - kTogether) * good + kAway * std::exp(-s / kPerson_s) +
                             kTogether * std::exp(-s / kTogether_s)
                       : good;
    };
    std::vector<double> out;
    double before = 1;
    while (out.size() < kLongest) {
        const double after = survives(static_cast<double>(out.size() + 1));
        out.push_back(before > 0 ? std::clamp(1 - after / before, 0.0, 1.0) : 1.0);
        before = after;
        if (after < 1e-7 && out.size() > 1) break;
    }
    if (out.size() < 2) out.push_back(out.back());
    // However late it is, it may still come: the table ends, the doubt does not.
    out.back() = std::clamp(out.back(), 1e-4, 0.5);
    return out;
}

std::size_t Model::chain_from(std::size_t index) const {
    for (std::size_t k = 0; k < chain_.size(); ++k) {
        if (chain_[k].act >= index) return k;
    }
    return chain_.size() - 1;
}

double Model::stuck_a_second(std::size_t k) const {
    if (chain_[k].end || chain_[k].waits) return 0;
    return stuck_run_ / std::max(60.0, total_s_);
}

double Model::stuck_share(std::size_t how) const {
    return how == kStuckLow ? stuck_low_ : 1 - stuck_low_;
}

}  // namespace fettle::watch
