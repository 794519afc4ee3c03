// What does it cost to stay with a run? A run of three quarters of an hour, marked as it goes, its supply measured
// twice a second. Both sides in one run, of processor time: a look from the beginning, as for a single answer, against
// a tick of Follow, each with the strip that is drawn of it.
//   watch_speed PROJECT [--sanity]   the project's folder, for its family files; --sanity: few looks, and no limits
#include <fmt/format.h>
#include <sys/resource.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <ctime>
#include <functional>
#include <string>
#include <vector>

#include "fettle/watch/follow.h"

namespace {

using namespace fettle;

constexpr UnixMs kStart = 1'800'000'000'000;
constexpr double kMinute = 60;

double milliseconds(const std::function<void()>& work) {
    const std::clock_t from = std::clock();
    work();
    return 1000 * static_cast<double>(std::clock() - from) / CLOCKS_PER_SEC;
}

double median(std::vector<double> v) {
    std::sort(v.begin(), v.end());
    return v[v.size() / 2];
}

double resident_mb() {
    rusage u{};
    getrusage(RUSAGE_SELF, &u);
    return static_cast<double>(u.ru_maxrss) / 1024;
}

[[noreturn]] void fail(const std::string& why) {
    fmt::print(stderr, "{}\n", why);
    std::exit(1);
}

std::shared_ptr<const watch::Against> long_step(const std::string& project) {
    auto family = family::load_family(project + "/families/dunnock.toml");
    if (!family) fail(family.error().message());
    family::Release r;
    r.family = "dunnock";
    r.release = "27.3.118";
    for (int i = 0; i < 28; ++i) {
        const bool main = i < 4 || i % 2 == 0;
        family::Piece p;
        p.name = fmt::format("piece-{}", i);
        p.box = main ? "main" : "display";
        p.region = i < 1 ? "recovery" : i < 2 ? "start" : i < 4 ? "kernel" : "system";
        p.version = r.release;
        p.files.push_back({p.name + ".bin", 6u << 20, {{"sha256", std::string(64, 'a')}}});
        r.pieces.push_back(std::move(p));
    }
    const change::SetState set = {{"main", {"27.1.110", "C", "NS", 1}}, {"display", {"27.1.110", "A", "NS", 1}}};
    change::InstalledList as_found;
    as_found.origin = Origin::typed;
    for (const family::Piece& p : r.pieces) as_found.pieces.push_back({p.box, p.name, "27.1.110", ""});
    watch::Against out;
    out.family = std::move(*family);
    out.sheet = change::change_sheet(out.family, r, as_found, set);
    out.forecast = forecast::forecast(out.family, out.sheet, {});
    out.map = cutmap::power_cut_map(out.family, out.sheet, out.forecast, 1);
    return std::make_shared<const watch::Against>(std::move(out));
}

// What is known after so many seconds: marks where the forecast has them, a little late.
struct Run {
    explicit Run(const watch::Against& a) : against(a) {}

    watch::Observed marks_until(double s) const {
        watch::Observed seen;
        seen.started = kStart;
        for (std::size_t i = 1; i < against.family.script.size(); ++i) {
            const bool dark = against.family.script[i].dark, was = against.family.script[i - 1].dark;
            const double at_s = against.forecast.states[i].begins.p50_s + 2;
            if (dark != was && at_s <= s)
                seen.marks.push_back({dark ? "dark" : "back", kStart + static_cast<UnixMs>(1000 * at_s), "tap", false});
        }
        return seen;
    }
    double amps(double s) const {
        double mean = 1;
        for (const auto& w : against.forecast.states) {
            if (w.begins.p50_s <= s && w.current_mean_A > 0) mean = w.current_mean_A;
        }
        return mean + 0.1 * std::sin(1.7 * s) + 0.05 * std::sin(0.31 * s);
    }
    void measure(std::vector<SupplySample>& into, double from_s, double to_s) const {
        for (double s = from_s; s < to_s; s += 0.5)
            into.push_back({kStart + static_cast<UnixMs>(1000 * s), 13.5, amps(s)});
    }
    const watch::Against& against;
};

UnixMs at(double s) {
    return kStart + static_cast<UnixMs>(1000 * s);
}

// A look from the beginning at that age; the answer is compared with Follow's.
double from_beginning(const Run& run, double age_s, std::string& sentence) {
    watch::Observed seen = run.marks_until(age_s);
    run.measure(seen.supply, 0, age_s);
    return milliseconds([&] {
        const auto step = run.against.step();
        const auto w = watch::track(step, seen, at(age_s));
        const auto lines = watch::strip(step, seen, w, at(age_s), watch::strip_samples(seen));
        sentence = w.sentence;
        if (lines.empty()) fail("nothing was drawn");
    });
}

}  // namespace

int main(int argc, char** argv) {
    const bool sanity = argc == 3 && std::string(argv[2]) == "--sanity";
    if (argc < 2) fail("watch_speed PROJECT [--sanity]");
    const auto against = long_step(argv[1]);
    const Run run(*against);
    if (!sanity) fmt::print("the step takes {:.0f} min by its forecast\n\n", against->forecast.total.p50_s / kMinute);

    const double last_min = sanity ? 2 : 180;
    const int every = sanity ? 1 : 5;
    const double before_mb = resident_mb();
    watch::Follow follow(against, run.marks_until(0));
    std::vector<double> ticks, draws;
    double worst = 0, at_40 = 0;
    if (!sanity)
        fmt::print("{:>8} {:>22} {:>16} {:>16} {:>10}\n", "minute", "from the beginning", "tick of Follow", "its strip",
                   "worst");
    for (double s = 0; s <= last_min * kMinute; ++s) {
        watch::Observed seen = run.marks_until(s);
        run.measure(seen.supply, s - 1, s);
        watch::Where w;
        ticks.push_back(milliseconds([&] {
            follow.see(std::move(seen));
            w = follow.tick(at(s));
        }));
        draws.push_back(milliseconds([&] {
            if (follow.strip(w).empty()) fail("nothing was drawn");
        }));
        if (s > 0) worst = std::max(worst, ticks.back());
        const double minute = s / kMinute;
        const std::vector<double> ages{1, 10, 40, 90, 180};
        if (std::find(ages.begin(), ages.end(), minute) == ages.end()) continue;
        std::vector<double> whole;
        std::string sentence;
        for (int i = 0; i < every; ++i) whole.push_back(from_beginning(run, s, sentence));
        if (sentence != w.sentence) fail("the two sides differ: \"" + sentence + "\" and \"" + w.sentence + "\"");
        if (sanity) continue;
        fmt::print("{:>8.0f} {:>19.1f} ms {:>13.3f} ms {:>13.3f} ms {:>7.2f} ms\n", minute, median(whole),
                   median(ticks), median(draws), worst);
        if (minute == 40) at_40 = median(ticks) + median(draws);
        ticks.clear();
        draws.clear();
        worst = 0;
    }
    if (sanity) {
        fmt::print("both sides agree\n");
        return 0;
    }
    fmt::print("\nten that are watched, a look a second: {:.1f} % of a core (aim: under 5)\n", at_40);
    fmt::print("memory of three hours: {:.1f} MB\n", resident_mb() - before_mb);

    // A mark that comes late, and is taken back again.
    watch::Follow other(against, run.marks_until(0));
    watch::Observed all = run.marks_until(40 * kMinute);
    run.measure(all.supply, 0, 40 * kMinute);
    other.see(all);
    other.tick(at(40 * kMinute));
    for (double late_s : {1.0, 30.0, 300.0, 1800.0}) {
        watch::Observed with = run.marks_until(40 * kMinute);
        with.marks.push_back({"still", at(40 * kMinute - late_s), "tap", false});
        const auto cost = milliseconds([&] {
            other.see(with);
            other.tick(at(40 * kMinute));
        });
        other.see(run.marks_until(40 * kMinute));
        other.tick(at(40 * kMinute));
        fmt::print("a mark that is {:.0f} s late: {:.1f} ms\n", late_s, cost);
    }
}
