// What the test of journals from hell knows of a journal by itself: read off the entries, one by one, without the fold.
#pragma once

#include <cstdlib>
#include <map>
#include <set>
#include <string>
#include <vector>

#include "fettle/workshop/test_job.h"

namespace fettle::workshop::hell {

struct Facts {  // of the last run
    std::size_t runs = 0;
    bool open = false, ended = false, broken = false, against_halt = false;
    bool end_impossible = false;    // less than a minute after its start, on one clock that nobody set
    bool handed_over_late = false;  // a sheet was sealed while a run was open
    std::string proved;
    std::set<std::string> signed_ids;
    std::size_t may_teach = 0;  // runs that ended and were not taken back
};

inline Facts facts_of(const std::vector<book::Entry>& entries) {
    std::set<std::int64_t> taken_back;
    std::map<std::int64_t, json::object> data;
    for (const book::Entry& e : entries) {
        data[e.number] = must(parse_json(e.data, "entry")).get_object();
        if (e.type == "unmark") taken_back.insert(data[e.number].at("entry").to_number<std::int64_t>());
    }
    Facts f;
    double began_up = 0;
    std::string began_on;
    bool continued = false;
    const auto clock = [&](const book::Entry& e) { return data[e.number].if_contains("clock"); };
    for (const book::Entry& e : entries) {
        const json::object& d = data[e.number];
        if (taken_back.count(e.number)) continue;
        if (e.type == "started") {
            f.runs += 1;
            f.open = true;
            f.ended = f.broken = f.end_impossible = false;
            f.against_halt = d.at("against_halt").as_bool();
            continued = d.contains("continued");
            f.proved.clear();
            f.signed_ids.clear();
            began_on.clear();
            if (const auto* c = clock(e)) {
                began_on = std::string(c->at("boot").as_string());
                began_up = c->at("up_s").to_number<double>();
            }
        } else if (e.type == "ended" && f.open) {
            f.open = false;
            f.broken = d.at("outcome").as_string() == "broken off";
            f.ended = !f.broken;
            f.may_teach += f.ended;
            const auto* c = clock(e);
            f.end_impossible = f.ended && !continued && c && !began_on.empty() &&
                               c->at("boot").as_string() == began_on.c_str() &&
                               c->at("up_s").to_number<double>() - began_up < 60;
        } else if (e.type == "proved") {
            f.proved = std::string(d.at("word").as_string());
        } else if (e.type == "as-left") {
            f.proved.clear();
        } else if (e.type == "signed" || e.type == "settled") {
            f.signed_ids.insert(std::string(d.at("id").as_string()));
        } else if (e.type == "handover") {
            f.handed_over_late = f.handed_over_late || f.open;
        }
    }
    return f;
}

// The whole list that the step leaves, cut off after `most` lines; `wrong`: one piece of another version.
inline std::string list_left(const plan::PlanStep& step, int most, bool wrong) {
    std::string out;
    for (const Installed& p : change::after(step.sheet, step.release, step.installed).pieces) {
        if (most-- <= 0) break;
        out += p.box + " " + p.name + " " + (wrong ? "0.0.1" : p.version) + "\n";
        wrong = false;
    }
    return out;
}

// One act in so many is killed.
inline int kill_every() {
    const char* wanted = std::getenv("FETTLE_KILL_EVERY");
    const int n = wanted ? std::atoi(wanted) : 12;
    return n > 0 ? n : 12;
}

}  // namespace fettle::workshop::hell
