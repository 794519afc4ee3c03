// For tests of this room and its neighbours: one step of the example family, from its own file, with made-up sizes.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "fettle/base/source_path.h"
#include "fettle/change/change.h"
#include "fettle/cutmap/cutmap.h"
#include "fettle/family/family.h"
#include "fettle/family/release.h"
#include "fettle/forecast/forecast.h"

namespace fettle::watch {

struct ExampleRun {
    family::Family family = family::load_family(source_path("families/dunnock.toml")).value();
    family::Release release;
    change::ChangeSheet sheet;
    forecast::Forecast forecast;
    cutmap::CutMap map;

    explicit ExampleRun(int pieces_of_system = 9) {
        release.family = "dunnock";
        release.release = "27.3.118";
        piece("recovery", "main", "recovery", 4 << 20);
        piece("start", "main", "start", 512 << 10);
        piece("kernel", "main", "kernel", 3 << 20);
        for (int i = 0; i < pieces_of_system; ++i) piece("part-" + std::to_string(i), "main", "system", 2 << 20);
        for (int i = 0; i < 6; ++i) piece("view-" + std::to_string(i), "display", "system", 1 << 20);
        const change::SetState set = {{"main", {"27.1.110", "C", "NS", 1}}, {"display", {"27.1.110", "A", "NS", 1}}};
        change::InstalledList as_found;
        as_found.origin = Origin::typed;
        for (const family::Piece& p : release.pieces) as_found.pieces.push_back({p.box, p.name, "27.1.110", ""});
        sheet = change::change_sheet(family, release, as_found, set);
        forecast = forecast::forecast(family, sheet, {});
        map = cutmap::power_cut_map(family, sheet, forecast, 1);
    }

    // Durations written down here, for pictures that are compared by character: they move only when this table does.
    void fix_durations() {
        forecast.states.clear();
        double at = 0;
        const auto add = [&](const char* act, double p50, double p90, double mean_A, double high_A) {
            forecast::StateWindow w;
            w.act = act;
            w.begins = {at * 0.9, at, at * 1.15, at * 1.3};
            w.lasts = {p50 * 0.8, p50, p90, p90 * 1.3};
            w.current_mean_A = mean_A;
            w.current_p99_A = high_A;
            forecast.states.push_back(w);
            at += p50;
        };
        add("reading", 36, 60, 1.8, 2.4);
        add("comparing", 24, 45, 1.9, 2.5);
        add("recovery", 50, 58, 2.2, 2.9);
        add("pending", 0, 0, 0, 0);
        add("dark-1", 36, 70, 0.9, 1.6);
        add("start-code", 18, 20, 2.2, 2.9);
        add("kernel", 40, 46, 2.3, 3.0);
        add("system", 330, 400, 2.3, 3.0);
        add("asks", 20, 60, 1.6, 2.2);
        add("display", 180, 225, 2.5, 3.2);
        add("switch", 0, 0, 0, 0);
        add("settled", 0, 0, 0, 0);
        add("dark-2", 60, 105, 1.0, 1.9);
        add("end", 0, 0, 0, 0);
        forecast.total = {700, 820, 980, 1120};
        forecast.rests_on = "measured 12";
    }

private:
    void piece(std::string name, std::string box, std::string region, std::uint64_t bytes) {
        family::Piece p;
        p.name = std::move(name);
        p.box = std::move(box);
        p.region = std::move(region);
        p.version = "27.3.118";
        p.files.push_back({p.name + ".bin", bytes, {{"sha256", std::string(64, 'a')}}});
        release.pieces.push_back(std::move(p));
    }
};

}  // namespace fettle::watch
