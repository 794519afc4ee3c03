// Sections supply, tally, message, link, fault, hold, try: what people and instruments see.
#include <fmt/core.h>

#include "fettle/base/text.h"
#include "fettle/family/load_parts.h"

namespace fettle::family {

void read_supply(Section& top, Family& f) {
    top.table("supply", Need::may, [&](Section& s) {
        Supply v;
        if (const auto x = s.number("lowest_V", Need::must, {0, 1000, false})) v.lowest_V = *x;
        if (const auto x = s.number("nominal_V", Need::may, {0, 1000, false})) v.nominal_V = *x;
        v.vehicle_off_after_s = s.number("vehicle_off_after_s", Need::may, {0, 1e6, false});
        v.support_V = s.number("support_V", Need::may, {0, 1000, false});
        if (const auto x = s.number("reserve_s", Need::may, {0, 1e6})) v.reserve_s = *x;
        v.source = s.source("source", Need::must);
        if (v.support_V && *v.support_V < v.lowest_V)
            s.log().mistake(s.at("support_V"), "is below lowest_V", "exchange the two, or correct one");
        f.supply = std::move(v);
    });
}

void read_stuck(Section& top, Family& f) {
    top.table("stuck", Need::may, [&](Section& s) {
        Stuck v;
        const Range share{0, 1, true};
        v.prior = s.number("prior", Need::must, share).value_or(0);
        v.low_A = s.number("low_A", Need::may, {0, 1000});
        v.low_when_stuck = s.number("low_when_stuck", Need::may, share);
        v.low_when_good = s.number("low_when_good", v.low_when_stuck ? Need::must : Need::may, share);
        v.low_when_good_and_silent = s.number("low_when_good_and_silent", Need::may, share);
        v.source = s.source("source", Need::must);
        if (v.low_when_good_and_silent && !v.low_when_stuck)
            s.log().mistake(s.at("low_when_good_and_silent"), "says nothing without low_when_stuck",
                            "give low_when_stuck and low_when_good too, or leave it out");
        f.stuck = std::move(v);
    });
}

void read_screen(Section& top, Family& f) {
    top.table("tally", Need::may, [&](Section& s) {
        Tally t;
        t.landed = s.text("landed", Need::may);
        t.passed_over = s.text("passed_over", Need::may);
        t.refused = s.text("refused", Need::may);
        t.to_come = s.text("to_come", Need::may);
        t.counts_not_applying = s.truth("counts_not_applying");
        t.total_may_grow_after_restart = s.truth("total_may_grow_after_restart");
        t.to_come_may_rise = s.truth("to_come_may_rise");
        f.tally = std::move(t);
    });
    top.tables("message", Need::may, [&](Section& s) {
        Message m;
        m.text = s.text("text", Need::must);
        m.meaning = s.text("meaning", Need::must);
        m.next = s.text("next", Need::must);
        m.sure = s.source("sure", Need::must);
        m.refused_piece = s.truth("refused_piece");
        m.retry = s.text("retry", Need::may);
        f.messages.push_back(std::move(m));
    });
    top.tables("hold", Need::may, [&](Section& s) {
        Hold h;
        h.id = s.text("id", Need::must);
        h.words = s.text("words", Need::must);
        h.on_bench = s.truth("on_bench", h.on_bench);
        h.in_vehicle = s.truth("in_vehicle", h.in_vehicle);
        h.engine_off = s.truth("engine_off", h.engine_off);
        h.seen_by = s.texts("seen_by", Need::may);
        for (std::size_t i = 0; i < h.seen_by.size(); ++i) {
            if (h.seen_by[i] != "voltage" && h.seen_by[i] != "bus")
                s.log().mistake(fmt::format("{}[{}]", s.at("seen_by"), i + 1),
                                fmt::format("is \"{}\", expected \"voltage\" or \"bus\"", printable(h.seen_by[i])),
                                "a person's tap needs no entry");
        }
        f.holds.push_back(std::move(h));
    });
    top.tables("try", Need::may, [&](Section& s) {
        Trial t;
        t.words = s.text("words", Need::must);
        t.when_complaint_has = s.text("when_complaint_has", Need::may);
        t.when_piece_moved = s.text("when_piece_moved", Need::may);
        f.trials.push_back(std::move(t));
    });
}

void read_watched(Section& top, Family& f) {
    top.tables("watched", Need::may, [&](Section& s) {
        WatchedRun w;
        w.run = s.text("run", Need::must);
        if (!w.run.empty() && (w.run.size() != 16 || w.run.find_first_not_of("0123456789abcdef") != std::string::npos))
            s.log().mistake(s.at("run"), "is \"" + printable(w.run) + "\"; 16 hex digits were expected",
                            "leave these entries to what is learnt of a run");
        w.day = s.date("day", Need::must);
        w.contradicts = s.texts("contradicts", Need::may);
        w.allowed_by = s.text("allowed_by", Need::may);
        f.watched.push_back(std::move(w));
    });
    std::vector<std::string> runs;
    for (const WatchedRun& w : f.watched) runs.push_back(w.run);
    check_unique(top.log(), "watched", "run", runs, "run");
}

void read_link(Section& top, Family& f) {
    top.tables("link", Need::may, [&](Section& s) {
        LinkBox b;
        b.role = s.text("role", Need::must);
        const auto word16 = [&](std::string_view key, Need need, std::int64_t low) {
            return static_cast<std::uint16_t>(s.integer(key, need, low, 0xFFFF).value_or(0));
        };
        b.address = word16("address", Need::must, 1);
        b.did_plate = word16("did_plate", Need::may, 1);
        b.did_serial = word16("did_serial", Need::may, 1);
        b.did_release = word16("did_release", Need::may, 1);
        b.did_market = word16("did_market", Need::may, 1);
        b.did_pieces = word16("did_pieces", Need::may, 1);
        b.pieces_layout = s.word("pieces_layout", b.did_pieces ? Need::must : Need::may, {"lines"});
        b.did_history = word16("did_history", Need::may, 1);
        b.history_layout =
            s.word("history_layout", b.did_history ? Need::must : Need::may, {"lines", "lines, newest first"});
        f.link.push_back(std::move(b));
    });
    top.tables("fault", Need::may, [&](Section& s) {
        FaultNote n;
        n.code = s.text("code", Need::must);
        n.words = s.text("words", Need::must);
        n.explained_by = s.word("explained_by", Need::must, {"skipped ask", "partner not on the bench", "low supply"});
        if (n.explained_by == "skipped ask")
            n.ask = s.text("ask", Need::must);
        else
            s.not_here("ask", "only explained_by = \"skipped ask\" has it");
        f.faults.push_back(std::move(n));
    });
    top.tables("mend", Need::may, [&](Section& s) {
        MendWay m;
        m.kind = s.word("kind", Need::must, {"wait", "same card", "laid-again card", "recovery card", "other supply"});
        m.most = static_cast<int>(s.integer("most", Need::may, 0, 9).value_or(m.most));
        if (m.kind == "wait")
            m.wait_s = s.number("wait_s", Need::may, {0, 1e6}).value_or(0);
        else
            s.not_here("wait_s", "only kind = \"wait\" has it");
        m.words = s.text("words", m.kind == "recovery card" ? Need::must : Need::may);
        m.who = s.text("who", Need::may);
        if (m.kind == "recovery card")
            m.writes = s.texts("writes", Need::must);
        else
            s.not_here("writes", "only kind = \"recovery card\" has it");
        m.source = s.source("source", Need::must);
        f.mend.push_back(std::move(m));
    });
}

}  // namespace fettle::family
