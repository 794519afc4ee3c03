// Inside the room: one ready check being made. Each member looks at one matter and adds its lines; the files named
// beside them hold the code.
#pragma once

#include <string>

#include "fettle/ready/ready.h"

namespace fettle::ready {

class Checker {
public:
    Checker(const family::Family& family, const forecast::Forecast& forecast, const cutmap::CutMap& map,
            const Situation& s)
        : family_(family), forecast_(forecast), map_(map), s_(s) {}

    Check run();

private:
    void item(std::string words, std::string value, Reason r, Next next = {}) {
        r.next = std::move(next);
        out_.items.push_back({std::move(words), std::move(value), std::move(r)});
    }
    void want(std::string key) { out_.wanted.push_back(std::move(key)); }

    // papers.cc
    void plan();
    void consent();
    void card();
    void right();
    void keepings();
    // feed.cc
    void supply();
    void reading_age();
    void fuse();
    void engine();
    void exhaust();
    void vehicle_timer();
    // inputs.cc
    void asks();
    void cards();
    void wakes();
    void people();
    void call();
    // ahead.cc
    void holds();
    void duration();
    void zones();
    // contradictions.cc
    void contradictions();
    // `one` and `other` as they were answered, "engine=running"; `otherwise`: the answers of which one puts it right.
    void contradict(const std::string& where, const std::string& one, const std::string& other,
                    const std::string& other_words, const std::string& otherwise);

    const family::Family& family_;
    const forecast::Forecast& forecast_;
    const cutmap::CutMap& map_;
    const Situation& s_;
    Check out_;
};

}  // namespace fettle::ready
