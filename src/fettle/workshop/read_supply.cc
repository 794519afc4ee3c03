#include "fettle/workshop/read_supply.h"

#include <fmt/core.h>

#include <algorithm>
#include <chrono>
#include <thread>

#include "fettle/link/scpi_supply.h"
#include "fettle/link/supply_source.h"
#include "fettle/workshop/ready_job.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

constexpr std::size_t kMostLinesLeftOut = 20;
constexpr std::size_t kMostReadings = 1'000'000;  // a writer that never rests

// A figure as an answer keeps it: no more digits than a meter has.
std::string figure(double v) {
    std::string out = fmt::format("{:.3f}", v);
    while (out.back() == '0') out.pop_back();
    if (out.back() == '.') out.pop_back();
    return out;
}

class Reading {
public:
    Reading(const family::Family& family, SupplyRead& out) : family_(family), out_(out) {}

    void keep(const std::string& key, const std::string& value) {
        if (auto ok = ready::check_answer(family_, key, value); !ok)
            add("supply-figure-unfit", Verdict::cant_say, key + ": " + ok.error().problem, key);
        else
            out_.kept.emplace_back(key, value);
    }
    void keep(const std::string& key, const std::optional<double>& v) {
        if (v) keep(key, figure(*v));
    }
    void add(const char* code, Verdict v, std::string text, std::string where = "supply") {
        out_.judgement.add({code, v, std::move(text), std::move(where), "read"});
    }

private:
    const family::Family& family_;
    SupplyRead& out_;
};

Status read_bench(const Workshop& shop, const std::string& from, Reading& reading, SupplyRead& out) {
    auto address = link::scpi::parse_address(from);
    if (!address) return pass(address);
    link::ScpiSupply supply(std::move(*address), *shop.clock, 500);
    const auto state = supply.read();
    if (!state) return pass(state);
    reading.keep("supply.volts", state->set_V);
    reading.keep("supply.limit", state->limit_A);
    if (state->output_on) reading.keep("supply.output", std::string(*state->output_on ? "on" : "off"));
    if (state->output_on.value_or(true)) reading.keep("supply.measured_v", state->measured_V);
    out.maker_and_model = state->maker_and_model;
    out.measured_A = state->measured_A;
    for (const std::string& e : state->errors)
        reading.add("supply-reports-error", Verdict::mind, "the supply has an error in its queue: " + e);
    for (const std::string& n : state->not_understood)
        reading.add("supply-answer-odd", Verdict::mind, "the supply's answer is none: " + n);
    return {};
}

// What the source has until it is quiet. False when so much of it cannot be read that it is no series.
bool take_all(SupplySource& source, Reading& reading, SupplyRead& out, std::optional<double>& lowest_V) {
    for (int quiet = 0; quiet < 2 && out.readings <= kMostReadings;) {
        const auto got = source.take();
        if (!got) {
            reading.add("supply-line-left-out", Verdict::mind, got.error().place.words() + ": " + got.error().problem);
            if (out.judgement.reasons.size() > kMostLinesLeftOut) return false;
            continue;
        }
        quiet = got->empty() ? quiet + 1 : 0;
        for (const SupplySample& s : *got) {
            ++out.readings;
            if (s.has_volts()) lowest_V = std::min(lowest_V.value_or(s.volts), s.volts);
            if (s.has_amps()) out.measured_A = std::max(out.measured_A.value_or(0), s.amps);
        }
    }
    return true;
}

Status read_series(const Workshop& shop, const SupplyRequest& request, Reading& reading, SupplyRead& out) {
    const auto source = link::open_supply(request.from, *shop.clock, 0);
    if (!source) return pass(source);
    const std::chrono::duration<double> listen(std::clamp(request.for_s, 0.0, 3600.0));
    const auto began = std::chrono::steady_clock::now();
    std::optional<double> lowest_V;
    while (true) {
        if (!take_all(**source, reading, out, lowest_V)) return {};
        if (std::chrono::steady_clock::now() - began >= listen) break;
        std::this_thread::sleep_for(std::chrono::milliseconds(200));
    }
    reading.keep("supply.measured_v", lowest_V);
    return {};
}

}  // namespace

Result<SupplyRead> read_supply(const Workshop& shop, const SupplyRequest& request) {
    const auto run = load_job_and_family(shop, request.job);
    if (!run) return pass(run);
    SupplyRead out;
    out.job = run->number;
    Reading reading(run->family, out);
    const auto read = link::is_supply_address(request.from) ? read_bench(shop, request.from, reading, out)
                                                            : read_series(shop, request, reading, out);
    if (!read) return pass(read);
    if (out.kept.empty())
        out.judgement.add({"supply-gave-nothing", Verdict::cant_say, "nothing that the check needs could be read",
                           "supply", "not read"});
    std::vector<NewEntry> entries;
    for (const auto& [key, value] : out.kept) entries.push_back(answered_entry(key, value, "read"));
    if (!entries.empty())
        if (auto kept = append_entries(shop, run->number, entries); !kept) return pass(kept);
    return out;
}

}  // namespace fettle::workshop
