// How long one state of the script lasts, from the family file's figures and the change sheet's bytes.
#include <algorithm>
#include <cmath>

#include "fettle/forecast/forecast.h"
#include "fettle/forecast/random.h"

namespace fettle::forecast {
namespace {

constexpr double z90 = 1.2815515655446004;  // 90 % point of the normal distribution
constexpr double bytes_per_mib = 1048576.0;

}  // namespace

double nominal_s(const family::Region& region, std::uint64_t bytes) {
    const double writing = region.rate_mib_s > 0 ? static_cast<double>(bytes) / bytes_per_mib / region.rate_mib_s : 0;
    return region.overhead_s + writing;
}

std::vector<const change::Line*> lines_of(const family::Family& family, const change::ChangeSheet& sheet,
                                          const family::Act& act) {
    std::vector<const change::Line*> out;
    if (act.kind != family::ActKind::write || family.region(act.box, act.region) == nullptr) return out;
    for (const auto& line : sheet.lines) {
        const bool written = line.action == change::Action::add || line.action == change::Action::replace;
        if (written && line.box == act.box && line.region == act.region) out.push_back(&line);
    }
    return out;
}

StateTime state_time(const family::Family& family, const change::ChangeSheet& sheet, const family::Act& act) {
    StateTime t;
    if (act.kind == family::ActKind::write) {
        const auto* region = family.region(act.box, act.region);
        const auto lines = lines_of(family, sheet, act);
        if (region == nullptr) {
            t.known = false;
            return t;
        }
        if (lines.empty()) return t;
        if (region->written_as == "image") {
            std::uint64_t bytes = 0;
            for (const auto* l : lines) bytes += l->bytes;
            t.median_s = nominal_s(*region, bytes);
        } else {
            for (const auto* l : lines) t.median_s += nominal_s(*region, l->bytes);
        }
        t.sigma = region->spread;
        t.rests_on = region->source;
        t.known = region->rate_mib_s > 0;
    } else if (act.seconds) {
        t.median_s = act.seconds->median_s;
        if (t.median_s > 0) t.sigma = std::log(std::max(1.0, act.seconds->p90_s / t.median_s)) / z90;
        t.rests_on = act.seconds->source;
    } else {
        t.known = act.kind == family::ActKind::set || act.kind == family::ActKind::end;
    }
    return t;
}

double survival(const family::Family& family, const change::ChangeSheet& sheet, std::string_view act_id,
                double elapsed_s) {
    const auto* act = family.act(act_id);
    if (act == nullptr) return 0;
    const StateTime t = state_time(family, sheet, *act);
    if (t.median_s <= 0) return 0;
    if (elapsed_s <= 0) return 1;
    if (t.sigma <= 0) return elapsed_s < t.median_s ? 1 : 0;
    return normal_cdf(-std::log(elapsed_s / t.median_s) / t.sigma);
}

}  // namespace fettle::forecast
