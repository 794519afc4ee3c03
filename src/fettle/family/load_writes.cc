// Sections region, flag, act, boot, bench_repair: what is written, in which order, and what happens when power goes.
#include "fettle/family/load_parts.h"

namespace fettle::family {
namespace {

std::optional<Duration> read_duration(Section& s, std::string_view key) {
    std::optional<Duration> out;
    s.table(key, Need::may, [&](Section& d) {
        Duration v;
        const auto median = d.number("median", Need::must, {0, 1e6, false});
        const auto p90 = d.number("p90", Need::must, {0, 1e6, false});
        v.source = d.source("source", Need::must);
        v.seen_s = d.reals("seen", {0, 1e6});
        if (!median || !p90) return;
        v.median_s = *median;
        v.p90_s = *p90;
        if (*p90 < *median)
            d.log().mistake(d.at("p90"), "is below the median; nine in ten must be shorter than it",
                            "exchange the two, or correct one");
        out = v;
    });
    return out;
}

std::optional<Current> read_current(Section& s, std::string_view key) {
    std::optional<Current> out;
    s.table(key, Need::may, [&](Section& c) {
        Current v;
        const auto mean = c.number("mean_A", Need::must, {0, 1000});
        const auto p99 = c.number("p99_A", Need::must, {0, 1000});
        v.source = c.source("source", Need::must);
        if (!mean || !p99) return;
        v.mean_A = *mean;
        v.p99_A = *p99;
        if (*p99 < *mean) c.log().mistake(c.at("p99_A"), "is below the mean", "exchange the two, or correct one");
        out = v;
    });
    return out;
}

ActKind kind_of(const std::string& word) {
    for (const ActKind k :
         {ActKind::read, ActKind::compare, ActKind::write, ActKind::set, ActKind::restart, ActKind::ask, ActKind::end})
        if (words(k) == word) return k;
    return ActKind::wait;
}

void read_ask(Section& s, Act& a) {
    a.control = s.word("control", Need::may, {"knob", "touch", "key", "card"});  // left out: not known
    a.area = s.text("area", Need::may);
    if (!a.area.empty() && a.control != "touch")
        s.log().mistake(s.at("area"), "means nothing here: only a touch has an area", "take the key out");
    if (a.control == "card") {
        if (const auto v = s.integer("card", Need::must, 2, 9)) a.card = static_cast<int>(*v);
    } else {
        s.not_here("card", "only control = \"card\" says which card goes in");
    }
    s.tables("answers", a.control.empty() ? Need::may : Need::must, [&](Section& w) {
        Answer answer;
        answer.how = w.word("how", Need::must, {"turn", "press", "key", "card", "nothing"});
        if (answer.how == "nothing") {
            if (const auto v = w.number("after_s", Need::must, {0, 1e6, false})) answer.after_s = *v;
        } else {
            w.not_here("after_s", "only how = \"nothing\" takes time");
        }
        answer.leads_to = w.word("leads_to", Need::must, {"goes on", "stops"});
        a.answers.push_back(std::move(answer));
    });
}

}  // namespace

void read_regions(Section& top, Family& f) {
    top.tables("region", Need::may, [&](Section& s) {
        Region r;
        r.box = s.text("box", Need::must);
        r.name = s.text("name", Need::must);
        r.words = s.text("words", Need::must);
        if (const auto v = s.integer("stores", Need::may, 1, 2)) r.stores = static_cast<int>(*v);
        r.selected_by = s.text("selected_by", Need::may);
        r.written_as = s.word("written_as", Need::may, {"pieces", "image"}, r.written_as);
        if (const auto v = s.number("rate_mib_s", Need::may, {1e-6, 1e6})) r.rate_mib_s = *v;
        if (const auto v = s.number("overhead_s", Need::may, {0, 1e6})) r.overhead_s = *v;
        if (const auto v = s.number("spread", Need::may, {0, 3})) r.spread = *v;
        r.buffered_s = s.number("buffered_s", Need::may, {0, 1e6});
        r.atomic = s.truth("atomic");
        const bool figures = s.has("rate_mib_s") || s.has("overhead_s") || s.has("spread") || s.has("buffered_s");
        r.source = s.source("source", figures ? Need::must : Need::may);
        f.regions.push_back(std::move(r));
    });
    top.tables("flag", Need::may, [&](Section& s) {
        Flag g;
        g.box = s.text("box", Need::must);
        g.name = s.text("name", Need::must);
        g.values = s.texts("values", Need::must);
        g.start = s.text("start", Need::must);
        f.flags.push_back(std::move(g));
    });
}

void read_script(Section& top, Family& f) {
    top.tables("act", Need::may, [&](Section& s) {
        Act a;
        a.id = s.text("id", Need::must);
        const std::string kind =
            s.word("kind", Need::must, {"read", "compare", "write", "set", "restart", "ask", "wait", "end"});
        a.kind = kind_of(kind);
        a.box = s.text("box", Need::must);
        a.words = s.text("words", Need::must);
        const auto only = [&](ActKind k, std::initializer_list<const char*> keys) {
            if (a.kind == k) return true;
            for (const char* key : keys) s.not_here(key, "only kind = \"" + std::string(words(k)) + "\" has it");
            return false;
        };
        if (only(ActKind::write, {"region", "store", "forced"})) {
            a.region = s.text("region", Need::must);
            a.store = s.word("store", Need::may, {"active", "spare"});
            a.forced = s.truth("forced");
            s.not_here("seconds", "the time of a write follows from its pieces, bytes and the region's rate");
        } else {
            a.seconds = read_duration(s, "seconds");
        }
        if (only(ActKind::set, {"flag", "value"})) {
            a.flag = s.text("flag", Need::must);
            a.value = s.text("value", Need::must);
        }
        if (only(ActKind::restart, {"into"})) {
            a.into = s.text("into", Need::must);
            if (a.into == "either") a.into.clear();  // it goes on after the restart whatever starts
        }
        if (only(ActKind::ask, {"control", "area", "card", "answers"})) read_ask(s, a);
        a.current = read_current(s, "current");
        a.shows = s.text("shows", Need::may);
        a.dark = s.truth("dark");
        if (a.kind == ActKind::wait || a.kind == ActKind::restart || a.kind == ActKind::read ||
            a.kind == ActKind::compare)
            a.wake = s.text("wake", Need::may);
        else
            s.not_here("wake",
                       "it sleeps where it waits, restarts, reads or compares; give the sleep an act of its own");
        a.polling_safe = s.truth("polling_safe");
        f.script.push_back(std::move(a));
    });
}

void read_boot(Section& top, Family& f) {
    top.tables("boot", Need::may, [&](Section& s) {
        BootRule b;
        b.box = s.text("box", Need::must);
        b.mode = s.word("mode", Need::must, {"normal", "recovery"});
        b.needs = s.texts("needs", Need::must);
        b.store = s.word("store", Need::may, {"active", "spare"}, b.store);
        b.consistency = s.word("consistency", Need::may, {"same release", "any"}, b.consistency);
        b.when = s.text_map("when", Need::may);
        b.goes_on = s.word("goes_on", Need::may, {"by itself", "with the card", "not at all"}, b.goes_on);
        b.from = s.word("from", Need::may, {"same cell", "same act", "start"}, b.from);
        b.whole_new_cells = s.word("whole_new_cells", Need::may, {"kept", "rewritten"}, b.whole_new_cells);
        b.net = s.truth("net");
        f.boot.push_back(std::move(b));
    });
    top.tables("bench_repair", Need::may, [&](Section& s) {
        BenchRepair b;
        b.box = s.text("box", Need::must);
        b.words = s.text("words", Need::must);
        b.needs = s.texts("needs", Need::may);
        f.bench.push_back(std::move(b));
    });
}

}  // namespace fettle::family
