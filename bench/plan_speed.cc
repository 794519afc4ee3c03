// How fast are route, forecast and power-cut map, and how do they grow? Each figure beside its limit.
//   plan_speed PROJECT   the project's folder, for its family files
#include <fmt/format.h>
#include <sys/resource.h>

#include <algorithm>
#include <cstdlib>
#include <ctime>
#include <functional>
#include <string>
#include <vector>

#include "fettle/cutmap/cutmap.h"
#include "fettle/forecast/forecast.h"
#include "fettle/route/route.h"

namespace {

using namespace fettle;

// Of processor time: what else the machine does at the same time does not count.
double seconds(const std::function<void()>& work) {
    const std::clock_t from = std::clock();
    work();
    return static_cast<double>(std::clock() - from) / CLOCKS_PER_SEC;
}

// Median of five.
double usual(const std::function<void()>& work) {
    std::vector<double> s;
    for (int i = 0; i < 5; ++i) s.push_back(seconds(work));
    std::sort(s.begin(), s.end());
    return s[2];
}

double peak_mb() {
    rusage u{};
    getrusage(RUSAGE_SELF, &u);
    return static_cast<double>(u.ru_maxrss) / 1024;
}

family::Family family_of(const std::string& project, const std::string& id) {
    auto f = family::load_family(project + "/families/" + id + ".toml");
    if (!f) {
        fmt::print(stderr, "{}\n", f.error().message());
        std::exit(1);
    }
    return *f;
}

// `pieces` in all: two of recovery, start code and kernel, the rest in the systems of both boxes.
family::Release release(const std::string& name, int pieces, int version) {
    family::Release r;
    r.family = "dunnock";
    r.release = name;
    r.markets = {"NS"};
    r.counter = 1;
    for (int i = 0; i < pieces; ++i) {
        const bool main = i < 4 || i % 2 == 0;
        const char* region = i < 2 ? "recovery" : i == 2 ? "start" : i == 3 ? "kernel" : "system";
        family::Piece p{fmt::format("piece-{}", i), main ? "main" : "display", region, std::to_string(version), {}, {}};
        p.files.push_back({fmt::format("p/{}", i), std::uint64_t{1} << 20, {}});
        r.pieces.push_back(std::move(p));
    }
    return r;
}

change::SetState set_at(const std::string& name) {
    return {{"main", {name, "C", "NS", 1}}, {"display", {name, "A", "NS", 1}}};
}

change::ChangeSheet sheet_of(const family::Family& f, int pieces) {
    const auto set = set_at("27.1.110");
    return change::change_sheet(f, release("27.3.118", pieces, 2), change::infer(release("27.1.110", pieces, 1), set),
                                set);
}

bool cut_short(const cutmap::CutMap& m) {
    return std::any_of(m.judgement.reasons.begin(), m.judgement.reasons.end(),
                       [](const Reason& r) { return r.code == "map-cut-short"; });
}

void time_map(const std::string& project) {
    fmt::print("power-cut map, dunnock, 120 pieces, up to 3 cuts; limit 2 s, 512 MB in all\n");
    for (const char* from : {"same cell", "same act", "start"}) {
        for (const double buffered_s : {0.0, 2.0, -1.0}) {  // below nought: not known
            auto f = family_of(project, "dunnock");
            for (auto& r : f.regions) r.buffered_s = buffered_s < 0 ? std::nullopt : std::optional(buffered_s);
            for (auto& b : f.boot) {
                b.from = from;
                b.whole_new_cells = "rewritten";
            }
            const auto sheet = sheet_of(f, 120);
            const auto forecast = forecast::forecast(f, sheet, {});
            cutmap::CutMap m;
            const double s = seconds([&] { m = cutmap::power_cut_map(f, sheet, forecast, 3); });
            fmt::print(
                "  from {:<9}  rewritten, buffered {:>9}: {:>9} states kept, {:>11} judged, {:6.3f} s, peak so far "
                "{:.0f} "
                "MB{}\n",
                from, buffered_s < 0 ? "not known" : fmt::format("{:.0f} s", buffered_s), m.states, m.met, s, peak_mb(),
                cut_short(m) ? ", cut short" : "");
        }
    }
}

void time_forecast(const std::string& project) {
    auto f = family_of(project, "dunnock");
    const auto sheet = sheet_of(f, 120);
    forecast::Forecast one;
    const double s = usual([&] { one = forecast::forecast(f, sheet, {}); });
    double low = one.total.p90_s, high = low;
    for (std::uint64_t seed = 1; seed <= 200; ++seed) {
        const double p90 = forecast::forecast(f, sheet, {}, seed).total.p90_s;
        low = std::min(low, p90);
        high = std::max(high, p90);
    }
    fmt::print(
        "forecast, 120 pieces: {:.1f} ms; limit 20 ms. P90 of 200 seeds: {:.1f} to {:.1f} s, {:.3f} % apart; "
        "limit 0.5 %\n",
        1e3 * s, low, high, 100 * (high - low) / low);
}

// Every release installs from the one ten before it at the earliest, so that the way to the newest has many steps.
void time_routes(const std::string& project) {
    auto f = family_of(project, "dunnock");
    f.known.clear();
    fmt::print("route over N releases of 120 pieces for 2 boxes; limit 50 ms at 300\n");
    for (const int n : {75, 150, 300, 600}) {
        std::vector<family::Release> shelf;
        for (int i = 0; i < n; ++i) {
            auto r = release(fmt::format("27.{}.{}", i / 10, 100 + i % 10), 120, i);
            if (i >= 10) r.installs_from = fmt::format("27.{}.{}", (i - 10) / 10, 100 + (i - 10) % 10);
            shelf.push_back(std::move(r));
        }
        route::RouteAnswer a;
        const double s = usual([&] { a = route::find_route(f, shelf, set_at("27.0.100"), {"newest", true, ""}); });
        fmt::print("  {:>4} releases: {:8.2f} ms, {} steps\n", n, 1e3 * s,
                   a.recommended ? a.recommended->steps.size() : 0);
        const double none = usual(
            [&] { a = route::find_route(f, shelf, set_at(shelf.back().release), {shelf.front().release, true, ""}); });
        fmt::print("       the way back: {:8.2f} ms, {} things against it\n", 1e3 * none, a.against.size());
    }
}

// As a plan weighs its ways: a forecast and a map with one cut for each step that some way to the target has.
void time_weighing(const std::string& project) {
    auto f = family_of(project, "dunnock");
    f.known.clear();
    fmt::print("weighing the steps of a route, each a forecast and a map with one cut, 120 pieces for 2 boxes\n");
    for (const int n : {4, 8, 16}) {
        std::vector<family::Release> shelf;
        for (int i = 0; i < n; ++i) shelf.push_back(release(fmt::format("27.{}.100", i), 120, i));
        int weighed = 0;
        const auto cost = [&](const family::Release& to, const change::SetState& before) -> route::StepWeight {
            ++weighed;
            const auto from = std::find_if(shelf.begin(), shelf.end(), [&](const family::Release& r) {
                return r.release == before.at("main").release;
            });
            const auto sheet = change::change_sheet(f, to, change::infer(*from, before), before, shelf);
            const auto times = forecast::forecast(f, sheet, {});
            return {cutmap::power_cut_map(f, sheet, times, 1).no_way_back_p90_s, times.total.p90_s};
        };
        route::RouteAnswer a;
        const double s =
            seconds([&] { a = route::find_route(f, shelf, set_at("27.0.100"), {"newest", true, ""}, cost); });
        fmt::print("  {:>4} releases: {:>4} steps weighed, {:.3f} s{}\n", n, weighed, s,
                   a.weighed ? "" : " (too many to weigh: ordered by doors and steps)");
    }
}

}  // namespace

int main(int argc, char** argv) {
    const std::string project = argc > 1 ? argv[1] : ".";
    const std::string only = argc > 2 ? argv[2] : "";
    if (only.empty() || only == "route") time_routes(project);
    if (only.empty() || only == "weighing") time_weighing(project);
    if (only.empty() || only == "forecast") time_forecast(project);
    if (only.empty() || only == "map") time_map(project);
}
