// Comparing two family files. Both are written out as flat facts, each with the direction in which it loosens; what is
// not known to be a tightening counts as a loosening. Entries are named by what they are (act "recovery"), never by
// their place, so that a new entry does not shift the others.
#include "fettle/family/compare.h"

#include <fmt/core.h>

#include <algorithm>
#include <map>
#include <tuple>

#include "fettle/base/cms.h"
#include "fettle/base/text.h"

namespace fettle::family {
namespace {

// When does a difference loosen?
enum class Rule {
    text,         // never: words for people
    exact,        // always, also when it is new: what was not known and so held back is now let through
    guards,       // when it goes away or changes; new is a tightening
    widens,       // when it is new; gone is a tightening; another meaning is words
    more_guards,  // a number: when it gets smaller, goes away, or is new
    less_guards,  // a number: when it gets larger, goes away, or is new
    limit,        // a number that limits: when it gets larger or goes away; new is a tightening
};

struct Fact {
    std::string value;
    double number = 0;
    Rule rule = Rule::exact;
};
using Facts = std::map<std::string, Fact>;

class Writer {
public:
    void add(const std::string& key, std::string value, Rule rule) {
        if (!value.empty()) facts[key] = {std::move(value), 0, rule};
    }
    void number(const std::string& key, double v, Rule rule) { facts[key] = {fmt::format("{}", v), v, rule}; }
    void number(const std::string& key, const std::optional<double>& v, Rule rule) {
        if (v) number(key, *v, rule);
    }
    // A truth that is a fact only while it stands.
    void truth(const std::string& key, bool v, Rule rule) {
        if (v) facts[key] = {"true", 0, rule};
    }
    // Basis::Kind is in order of strength: a stronger one makes verdicts better, so it must be accepted by name.
    void source(const std::string& key, const Basis& s) {
        if (!s.empty()) facts[key] = {s.words(), static_cast<double>(s.kind()), Rule::less_guards};
    }
    Facts facts;
};

void write_label(Writer& w, const std::string& key, const LabelRule& r) {
    w.add(key + ".pattern", r.pattern, Rule::exact);
    if (r.check) w.add(key + ".check", r.check->method + " over " + join(r.check->over, "+"), Rule::guards);
    for (const auto& [field, values] : r.values)
        for (const auto& [value, meaning] : values)
            w.add(fmt::format("{}.values.{}.{}", key, field, value), meaning.empty() ? "(no meaning)" : meaning,
                  Rule::widens);
    for (const std::string& field : r.likely) w.add(key + ".likely." + field, "only likely", Rule::guards);
    w.add(key + ".examples", join(r.examples, ", "), Rule::text);
    for (const std::string& c : r.counter_examples) w.add(key + ".counter_examples." + c, "refused", Rule::guards);
    w.add(key + ".reach", r.reach, Rule::text);
}

void write_head(Writer& w, const Family& f) {
    w.add("family.id", f.id, Rule::exact);
    w.add("family.marque", f.marque, Rule::text);
    w.add("family.words", f.words, Rule::text);
    if (f.level.size() == 2) w.number("family.level", f.level[1] - '0', Rule::less_guards);
    w.add("family.newest_known", f.newest_release + " as of " + f.newest_as_of, Rule::text);
    w.add("family.version_order",
          fmt::format("{} list [{}] fields [{}]", f.order.rule, join(f.order.list, ", "), join(f.order.fields, ", ")),
          Rule::exact);
    w.truth("family.refuses_older", f.refuses_older, Rule::exact);
    w.number("family.settle_s", f.settle_s, Rule::more_guards);
    w.add("family.primer", join(f.primer, " / "), Rule::text);
    for (const Box& b : f.boxes) {
        const std::string key = "box." + b.role;
        w.add(key + ".words", b.words, Rule::text);
        w.add(key + ".kind", b.kind, Rule::exact);
        w.add(key + ".written_by", b.written_by, Rule::exact);
        w.add(key + ".supply", b.supply, Rule::exact);
        write_label(w, key + ".plate", b.plate);
    }
    for (const PairRule& p : f.pairs) w.add("pair." + p.when + "." + p.text, "must hold", Rule::guards);
    write_label(w, "view", f.view);
}

void write_releases(Writer& w, const Family& f, const Family& other) {
    for (const KnownRelease& r : f.known) {
        const std::string key = "release." + r.release;
        w.truth(key + ".stepping_stone", r.stepping_stone, Rule::guards);
        w.truth(key + ".one_way_door", r.one_way_door, Rule::guards);
        // Of a release that only one of the two files knows, the counter is news, not a change.
        if (r.counter)
            w.add(key + ".counter", std::to_string(*r.counter),
                  other.known_release(r.release) ? Rule::exact : Rule::guards);
        w.add(key + ".cures", join(r.cures, " / "), Rule::text);
    }
    if (!f.package) return;
    const PackageRule& p = *f.package;
    w.add("package.index", p.index, Rule::exact);
    w.add("package.form", p.form == "csv" ? p.form + " " + p.separator : p.form, Rule::exact);
    w.add("package.columns", join(p.columns, ", "), Rule::exact);
    w.add("package.signature.form", p.signature_form, Rule::guards);
    w.add("package.signature.file", p.signature_file, Rule::guards);
    w.add("package.signature.key", p.signature_key, Rule::guards);
    for (const std::string& pem : p.signature_certificates)
        if (const auto facts = certificate_facts(pem))
            w.add("package.signature.certificates." + facts->fingerprint,
                  facts->subject.empty() ? "(no name)" : facts->subject, Rule::widens);
    w.add("package.signature.signer", p.signature_signer, Rule::guards);
    if (p.signature_form == "cms") w.number("package.signature.needs", p.signature_needs, Rule::more_guards);
    if (!p.signature_form.empty()) w.truth("package.signature.without.refused", p.unsigned_refused, Rule::guards);
    w.add("package.digest", p.digest, Rule::exact);
    w.add("package.path_pattern", p.path_pattern, Rule::exact);
    for (const auto& [field, value] : p.always) w.add("package.always." + field, value, Rule::exact);
    for (const auto& [field, pointer] : p.file_fields) w.add("package.file." + field, pointer, Rule::exact);
    for (const auto& [field, pointer] : p.release_fields) w.add("package.release." + field, pointer, Rule::exact);
    for (const auto& [field, pointer] : p.piece_fields) w.add("package.piece." + field, pointer, Rule::exact);
}

void write_card(Writer& w, const Family& f) {
    if (!f.card) return;
    const CardRule& c = *f.card;
    for (const std::string& m : c.media) w.add("card.media." + m, "taken", Rule::widens);
    w.add("card.table", c.table, Rule::exact);
    w.add("card.file_system", c.file_system, Rule::exact);
    if (c.cluster_kib.empty()) w.add("card.cluster_kib.any", "taken", Rule::widens);
    for (const std::uint32_t k : c.cluster_kib) w.add(fmt::format("card.cluster_kib.{}", k), "taken", Rule::widens);
    w.number("card.min_bytes", static_cast<double>(c.min_bytes), Rule::more_guards);
    if (c.max_bytes) w.number("card.max_bytes", static_cast<double>(c.max_bytes), Rule::limit);
    w.add("card.label", c.label, Rule::exact);
    w.add("card.index_at", c.index_at, Rule::exact);
    w.truth("card.foreign.refused", c.foreign == "refused", Rule::guards);
    w.number("card.longest_path", c.longest_path, Rule::limit);
    w.number("card.largest_file", static_cast<double>(c.largest_file), Rule::limit);
    if (c.in_turn.most > 1)
        w.add("card.in_turn",
              fmt::format("up to {} of {} bytes, index on {}", c.in_turn.most, c.in_turn.each_bytes,
                          c.in_turn.index_on_every ? "every card" : "the first card"),
              Rule::exact);
}

void write_duration(Writer& w, const std::string& key, const std::optional<Duration>& d) {
    if (!d) return;
    w.number(key + ".median", d->median_s, Rule::more_guards);
    w.number(key + ".p90", d->p90_s, Rule::more_guards);
    w.source(key + ".source", d->source);
}

void write_acts(Writer& w, const Family& f) {
    for (std::size_t i = 0; i < f.script.size(); ++i) {
        const Act& a = f.script[i];
        const std::string key = "act." + a.id;
        w.add(key + ".kind", std::string(words(a.kind)), Rule::exact);
        w.add(key + ".after", i ? f.script[i - 1].id : "(first)", Rule::exact);
        w.add(key + ".box", a.box, Rule::exact);
        w.add(key + ".words", a.words, Rule::text);
        w.add(key + ".region", a.region, Rule::exact);
        w.add(key + ".store", a.store, Rule::exact);
        w.truth(key + ".forced", a.forced, Rule::widens);
        w.add(key + ".flag", a.flag, Rule::exact);
        w.add(key + ".value", a.value, Rule::exact);
        w.add(key + ".into", a.into, Rule::exact);
        write_duration(w, key + ".seconds", a.seconds);
        if (a.current) {
            w.number(key + ".current.mean_A", a.current->mean_A, Rule::more_guards);
            w.number(key + ".current.p99_A", a.current->p99_A, Rule::more_guards);
            w.source(key + ".current.source", a.current->source);
        }
        w.add(key + ".shows", a.shows, Rule::text);
        w.truth(key + ".dark", a.dark, Rule::widens);
        w.add(key + ".control", a.control, Rule::exact);
        w.add(key + ".area", a.area, Rule::exact);
        if (a.card > 0) w.add(key + ".card", std::to_string(a.card), Rule::exact);
        std::vector<std::string> answers;
        for (const Answer& x : a.answers)
            answers.push_back(x.after_s > 0 ? fmt::format("{} for {} s: {}", x.how, x.after_s, x.leads_to)
                                            : x.how + ": " + x.leads_to);
        w.add(key + ".answers", join(answers, "; "), Rule::exact);
        w.add(key + ".wake", a.wake, Rule::exact);
        w.truth(key + ".polling_safe", a.polling_safe, Rule::widens);
    }
}

void write_writes(Writer& w, const Family& f) {
    for (const Region& r : f.regions) {
        const std::string key = fmt::format("region.{}.{}", r.box, r.name);
        w.add(key + ".words", r.words, Rule::text);
        w.add(key + ".stores", std::to_string(r.stores), Rule::exact);
        w.add(key + ".selected_by", r.selected_by, Rule::exact);
        w.add(key + ".written_as", r.written_as, Rule::exact);
        if (r.rate_mib_s > 0) w.number(key + ".rate_mib_s", r.rate_mib_s, Rule::less_guards);
        w.number(key + ".overhead_s", r.overhead_s, Rule::more_guards);
        w.number(key + ".spread", r.spread, Rule::more_guards);
        w.number(key + ".buffered_s", r.buffered_s, Rule::more_guards);
        w.truth(key + ".atomic", r.atomic, Rule::widens);
        w.source(key + ".source", r.source);
    }
    for (const Flag& g : f.flags)
        w.add(fmt::format("flag.{}.{}", g.box, g.name), join(g.values, ", ") + "; at rest " + g.start, Rule::exact);
    std::map<std::string, std::string> boot;
    for (const BootRule& b : f.boot) {
        std::string when;
        for (const auto& [flag, value] : b.when) when += flag + "=" + value + " ";
        boot[b.box] += fmt::format("[{} when ({}) needs ({}) {} {} goes on {} from {} {}{}] ", b.mode, trim(when),
                                   join(b.needs, " "), b.store, b.consistency, b.goes_on, b.from, b.whole_new_cells,
                                   b.net ? " net" : "");
    }
    for (const auto& [box, rules] : boot) w.add("boot." + box, rules, Rule::exact);
    for (const BenchRepair& b : f.bench)
        w.add(fmt::format("bench_repair.{}.needs {}.{}", b.box, join(b.needs, " "), b.words), "a way in", Rule::widens);
}

void write_rest(Writer& w, const Family& f) {
    if (f.supply) {
        w.number("supply.lowest_V", f.supply->lowest_V, Rule::more_guards);
        w.add("supply.nominal_V", fmt::format("{}", f.supply->nominal_V), Rule::exact);
        w.number("supply.vehicle_off_after_s", f.supply->vehicle_off_after_s, Rule::limit);
        if (f.supply->support_V) w.add("supply.support_V", fmt::format("{}", *f.supply->support_V), Rule::exact);
        w.number("supply.reserve_s", f.supply->reserve_s, Rule::more_guards);
        w.source("supply.source", f.supply->source);
    }
    if (f.stuck) {
        const auto figure = [&](const char* key, const std::optional<double>& v) {
            if (v) w.add(std::string("stuck.") + key, fmt::format("{}", *v), Rule::exact);
        };
        figure("prior", f.stuck->prior);
        figure("low_A", f.stuck->low_A);
        figure("low_when_stuck", f.stuck->low_when_stuck);
        figure("low_when_good", f.stuck->low_when_good);
        figure("low_when_good_and_silent", f.stuck->low_when_good_and_silent);
        w.source("stuck.source", f.stuck->source);
    }
    if (f.tally) {
        w.add("tally.landed", f.tally->landed, Rule::exact);
        w.add("tally.passed_over", f.tally->passed_over, Rule::exact);
        w.add("tally.refused", f.tally->refused, Rule::exact);
        w.add("tally.to_come", f.tally->to_come, Rule::exact);
        w.truth("tally.counts_not_applying", f.tally->counts_not_applying, Rule::exact);
        w.truth("tally.total_may_grow_after_restart", f.tally->total_may_grow_after_restart, Rule::widens);
        w.truth("tally.to_come_may_rise", f.tally->to_come_may_rise, Rule::widens);
    }
    for (const Message& m : f.messages) {
        w.add("message." + m.text, m.meaning + " / " + m.next, Rule::text);
        w.source("message." + m.text + ".sure", m.sure);
        w.truth("message." + m.text + ".refused_piece", m.refused_piece, Rule::guards);
    }
    for (const LinkBox& l : f.link)
        w.add("link." + l.role,
              fmt::format(
                  "0x{:04X} plate {:04X} serial {:04X} release {:04X} market {:04X} pieces {:04X} {} history {:04X} {}",
                  l.address, l.did_plate, l.did_serial, l.did_release, l.did_market, l.did_pieces, l.pieces_layout,
                  l.did_history, l.history_layout),
              Rule::exact);
    // What may be tried on a broken unit: another way, or another limit, is for a person to accept.
    for (const MendWay& m : f.mend) {
        w.add(fmt::format("mend.{}", m.kind), fmt::format("at most {}, writes {}", m.most, join(m.writes, ", ")),
              Rule::exact);
        w.add(fmt::format("mend.{}.words", m.kind), m.words + m.who, Rule::text);
        w.source(fmt::format("mend.{}.source", m.kind), m.source);
    }
    for (const Message& m : f.messages) {
        if (!m.retry.empty()) w.add("message." + m.text + ".retry", m.retry, Rule::text);
    }
    for (const FaultNote& n : f.faults)
        w.add(fmt::format("fault.{}.{}{}{}", n.code, n.explained_by, n.ask.empty() ? "" : " ", n.ask), "explained",
              Rule::widens);
    for (const Hold& h : f.holds) {
        w.add("hold." + h.id + ".words", h.words, Rule::text);
        w.truth("hold." + h.id + ".on_bench", h.on_bench, Rule::guards);
        w.truth("hold." + h.id + ".in_vehicle", h.in_vehicle, Rule::guards);
        w.truth("hold." + h.id + ".engine_off", h.engine_off, Rule::guards);
        for (const std::string& by : h.seen_by) w.add("hold." + h.id + ".seen_by." + by, "seen", Rule::guards);
    }
    for (const TouchScreen& s : f.screens) {
        w.add("screen." + s.box, fmt::format("{} by {}", s.columns, s.rows), Rule::exact);
        for (const TouchArea& a : s.areas)
            w.add(fmt::format("screen.{}.area.{}", s.box, a.name),
                  fmt::format("{},{} to {},{}", a.left, a.top, a.right, a.bottom), Rule::exact);
    }
    // That a run said otherwise is a warning; that it was watched is only counted.
    for (const WatchedRun& r : f.watched) {
        w.add("watched." + r.run, "on " + r.day, Rule::text);
        for (const std::string& c : r.contradicts)
            w.add("watched." + r.run + ".contradicts." + c, "said", Rule::guards);
    }
    for (const Trial& t : f.trials)
        w.add("try." + t.words, fmt::format("complaint \"{}\", piece \"{}\"", t.when_complaint_has, t.when_piece_moved),
              Rule::guards);
}

Facts facts_of(const Family& f, const Family& other) {
    Writer w;
    write_head(w, f);
    write_releases(w, f, other);
    write_card(w, f);
    write_writes(w, f);
    write_acts(w, f);
    write_rest(w, f);
    return std::move(w.facts);
}

bool loosens(const Fact* before, const Fact* after) {
    const Rule rule = before ? before->rule : after->rule;
    switch (rule) {
        case Rule::text: return false;
        case Rule::exact: return true;
        case Rule::guards: return before != nullptr;
        case Rule::widens: return before == nullptr;
        case Rule::more_guards: return !before || !after || after->number < before->number;
        case Rule::less_guards: return !before || !after || after->number > before->number;
        case Rule::limit: return before && (!after || after->number > before->number);
    }
    return true;
}

}  // namespace

std::vector<Change> compare_families(const Family& in_use, const Family& offered) {
    const Facts before = facts_of(in_use, offered), after = facts_of(offered, in_use);
    std::vector<Change> out;
    const auto note = [&](const std::string& key, const Fact* a, const Fact* b) {
        out.push_back({key, a ? a->value : "", b ? b->value : "", loosens(a, b)});
    };
    for (const auto& [key, fact] : before) {
        const auto other = after.find(key);
        if (other == after.end())
            note(key, &fact, nullptr);
        else if (other->second.value != fact.value)
            note(key, &fact, &other->second);
    }
    for (const auto& [key, fact] : after)
        if (!before.contains(key)) note(key, nullptr, &fact);
    std::sort(out.begin(), out.end(),
              [](const Change& a, const Change& b) { return std::tie(b.loosens, a.key) < std::tie(a.loosens, b.key); });
    return out;
}

}  // namespace fettle::family
