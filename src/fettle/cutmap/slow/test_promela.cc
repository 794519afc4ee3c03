#include "fettle/cutmap/slow/test_promela.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include "fettle/cutmap/model.h"
#include "fettle/cutmap/slow/test_promela_text.h"

namespace fettle::cutmap {
namespace {

constexpr double never_s = 1e6;  // what is buffered longer than any run

class Writer {
public:
    Writer(const Model& m, int cuts) : m_(m), cuts_(cuts) {}

    std::string all() {
        numbers();
        std::string out = head();
        out += supplies();
        out += promela_text::common;
        out += rules() + no_start() + weigh() + wholeness() + flushes();
        out += "\nactive proctype boxes() {\n" + beginning();
        for (std::size_t i = 0; i < m_.acts.size(); ++i) out += act(i);
        out += "  goto ended;\n";
        out += promela_text::power_lost;
        out += "  if\n";
        for (std::size_t i = 0; i < m_.acts.size(); ++i) out += fmt::format("  :: at_act == {} -> goto act_{}\n", i, i);
        out += fmt::format("  :: at_act >= {} -> goto ended\n  fi;\n", m_.acts.size());
        return out + promela_text::ending;
    }

private:
    void numbers() {
        int next = 0;
        for (const auto& a : m_.acts) {
            moment_.push_back(next);
            next += std::max(1, a.cells);
        }
    }

    std::string head() const {
        std::string out = fmt::format("/* {}: every cut of power during one run, up to CUTS in all.\n", m_.family->id);
        for (std::size_t i = 0; i < m_.acts.size(); ++i)
            out += fmt::format("   moment {}{}: {}\n", moment_[i],
                               m_.acts[i].cells > 1 ? fmt::format(" to {}", moment_[i] + m_.acts[i].cells - 1) : "",
                               m_.acts[i].file->id);
        out += "   spin -a FILE && cc -O1 -DSAFETY -o pan pan.c && ./pan -m1000000\n*/\n";
        out += fmt::format("#ifndef CUTS\n#define CUTS {}\n#endif\n", cuts_);
        for (int o = 0; o <= static_cast<int>(Outcome::done); ++o)
            out += fmt::format("#define {} {}\n", name(static_cast<Outcome>(o)), o);
        out += promela_text::values;
        out += fmt::format("#define CELLS {}\n#define STRAYS {}\n", m_.cells, 8 + m_.acts.size());
        std::string atomic = "0";
        for (const auto& r : m_.regions)
            if (r.file->atomic && r.cells > 0)
                for (int s = 0; s < (r.selector < 0 ? 1 : 2); ++s)
                    atomic += fmt::format(" || (x) >= {} && (x) < {}", r.first[s], r.first[s] + r.cells);
        out += fmt::format("#define ATOMIC(x) ({})\n\n", atomic);
        out += fmt::format("byte c[{0}], was[{0}], found[{0}];\nbit risk[{0}];\n", std::max(1, m_.cells));
        if (timed())
            out += fmt::format("int took, age[{}];  /* milliseconds since it was reported written */\n",
                               std::max(1, m_.cells));
        out += fmt::format("#define FORGET(x) risk[x] = 0; was[x] = 0;{}\n", timed() ? " age[x] = 0;" : "");
        const auto flags = std::max<std::size_t>(1, m_.flags.size());
        out += fmt::format("byte flag[{0}]; bit began[{0}];\nbyte starts[{1}];\n", flags, m_.boxes.size());
        return out;
    }

    // Cuts are of every supply at once, or of one: what that means for boxes, cells and the run.
    std::string supplies() const {
        const auto of_supply = [&](int s) { return fmt::format("kind == {}", s + 1); };
        std::string out;
        for (std::size_t b = 0; b < m_.boxes.size(); ++b)
            out += m_.supplies == 1 ? fmt::format("#define LOST_{} 1\n#define STARTS_{} 1\n", b, b)
                                    : fmt::format(
                                          "#define LOST_{0} (kind == 0 || {1})\n#define STARTS_{0} (LOST_{0} "
                                          "|| (mark && ({2})))\n",
                                          b, of_supply(m_.boxes[b].supply), restarts(b));
        if (m_.supplies == 1) return out + promela_text::one_supply;
        std::string choice, loses = "0", needed = "0", as_expected = "1";
        for (int kind = 0; kind <= m_.supplies; ++kind) choice += fmt::format(" :: true -> kind = {}", kind);
        for (const auto& r : m_.regions)
            for (int s = 0; r.cells > 0 && s < (r.selector < 0 ? 1 : 2); ++s)
                loses += fmt::format(" || ((x) >= {} && (x) < {} && LOST_{})", r.first[s], r.first[s] + r.cells, r.box);
        for (std::size_t i = 0; i < m_.acts.size(); ++i) {
            needed += fmt::format(" || (at_act == {} && ({}))", i, broken(m_.acts[i]));
            for (std::size_t b = 0; b < m_.boxes.size(); ++b) {
                if (const int in = m_.acts[i].expects[b]; in >= 0)
                    as_expected += fmt::format(" && !(at_act == {} && LOST_{} && !{})", i, b,
                                               comes_up(b, in == 1 ? "normal" : "recovery"));
            }
        }
        return out + fmt::format(
                         "byte kind; bit rewrote;\n"
                         "#define OF_A_SUPPLY() if{} fi; rewrote = rewrite\n#define LOSES(x) ({})\n"
                         "#define HOLDS(x) {}\n"
                         "#define UNBROKEN() if :: !({}) && ({}) -> how = goes_on_by_itself; strays = 0; "
                         "rewrite = rewrote; from_cell = at_cell; goto take_up :: else fi;\n"
                         "#define ALL_POWERED() kind = 0; rewrote = 0;\n",
                         choice, loses, timed() ? "age[x] = 0;" : "", needed, as_expected);
    }
    // One of the boxes that the act needs has no power.
    static std::string broken(const ModelAct& a) {
        std::string out = "0";
        for (std::size_t b = 0; b < a.needs.size(); ++b)
            if (a.needs[b]) out += fmt::format(" || LOST_{}", b);
        return out;
    }
    std::string restarts(std::size_t b) const {
        std::string out = "0";
        for (std::size_t i = 0; i < m_.acts.size(); ++i)
            if (m_.acts[i].kind == family::ActKind::restart && m_.in_box(m_.acts[i], static_cast<int>(b)))
                out += fmt::format(" || at_act == {}", i);
        return out;
    }

    static std::string name(Outcome o) {
        std::string out(code(o));
        std::replace(out.begin(), out.end(), '-', '_');
        return out;
    }

    bool timed() const {
        return std::any_of(m_.regions.begin(), m_.regions.end(), [](const ModelRegion& r) { return limited(r); });
    }
    static bool limited(const ModelRegion& r) {
        return r.cells > 0 && r.file->buffered_s && *r.file->buffered_s > 0 && *r.file->buffered_s < never_s;
    }
    static long ms(double s) { return std::lround(s * 1000); }

    std::string first_of(const ModelRegion& r, bool spare) const {
        if (r.selector < 0) return std::to_string(r.first[0]);
        return fmt::format("(flag[{}] == 1 -> {} : {})", r.selector, r.first[spare ? 0 : 1], r.first[spare ? 1 : 0]);
    }
    std::string written_first(const ModelAct& a) const {
        const ModelRegion& r = m_.regions[static_cast<std::size_t>(a.region)];
        if (r.selector < 0) return std::to_string(r.first[0]);
        const bool spare = a.file->store == "spare";
        return fmt::format("(began[{}] == 1 -> {} : {})", r.selector, r.first[spare ? 0 : 1], r.first[spare ? 1 : 0]);
    }
    std::string look(const ModelRegion& r, bool spare) const {
        return r.cells == 0 ? "" : fmt::format("look({}, {}); ", first_of(r, spare), r.cells);
    }

    // Which rule starts each box, and whether the net is whole.
    std::string rules() const {
        std::string out = "\ninline find_starts() {\n  net = 1;\n";
        for (std::size_t b = 0; b < m_.boxes.size(); ++b) {
            out += fmt::format("  starts[{}] = NONE;\n", b);
            for (const int r : m_.boxes[b].rules) {
                const ModelRule& rule = m_.rules[static_cast<std::size_t>(r)];
                out += "  seen = 0; ";
                for (const int region : rule.regions)
                    out += look(m_.regions[static_cast<std::size_t>(region)], rule.spare);
                out += fmt::format("holds = (!TORN_SEEN{});\n", rule.same_release ? " && ONE_RELEASE" : "");
                if (rule.file->net) out += "  if :: !holds -> net = 0 :: else fi;\n";
                std::string when;
                for (const auto& [f, v] : rule.when) when += fmt::format(" && flag[{}] == {}", f, v);
                out += fmt::format("  if :: holds && starts[{}] == NONE{} -> starts[{}] = {} :: else fi;\n", b, when, b,
                                   r);
            }
        }
        out += "  holds = 0\n}\n\ninline rule_says(r) {\n  if\n";
        for (std::size_t r = 0; r < m_.rules.size(); ++r) {
            const auto& f = *m_.rules[r].file;
            const auto pick = [](const std::string& said, std::initializer_list<const char*> words) {
                int i = 0;
                for (const char* w : words) {
                    if (said == w) return i;
                    ++i;
                }
                return 9;
            };
            out += fmt::format("  :: r == {} -> goes_on = {}; from = {}; whole = {}\n", r,
                               pick(f.goes_on, {"by itself", "with the card", "not at all"}),
                               pick(f.from, {"same cell", "same act", "start"}),
                               pick(f.whole_new_cells, {"kept", "rewritten"}));
        }
        return out +
               "  :: else -> goes_on = NOT_AT_ALL; from = START; whole = REWRITTEN\n  fi\n}\n"
               "inline driver_rule() { if :: driver == NONE -> rule_says(NONE) :: else -> rule_says(starts[driver]) fi "
               "}\n";
    }

    std::string no_start() const {
        std::string out = "\ninline no_start(b) {\n  rest = lost;\n  if\n";
        for (std::size_t b = 0; b < m_.boxes.size(); ++b) {
            out += fmt::format("  :: b == {} -> skip;\n", b);
            for (const auto& way : m_.family->bench) {
                if (way.box != m_.boxes[b].file->role) continue;
                out += "     seen = 0; ";
                for (const auto& r : m_.regions)
                    if (r.box == static_cast<int>(b) &&
                        std::find(way.needs.begin(), way.needs.end(), r.file->name) != way.needs.end())
                        out += look(r, false);
                out += "if :: !TORN_SEEN -> rest = bench_repair :: else fi;\n";
            }
        }
        return out + "  fi\n}\n";
    }

    // Dead boxes, how the run goes on and who goes on with it, by the rules that start them.
    std::string weigh() const {
        std::string out =
            "\ninline weigh_boxes() {\n  dead = 0; normal = 1; goes = 0; takes = goes_on_by_itself; driver = NONE; "
            "used_rest = nothing_changed; later_rest = nothing_changed;\n";
        for (std::size_t b = 0; b < m_.boxes.size(); ++b) {
            std::string normal = "0";
            for (const int r : m_.boxes[b].rules)
                if (m_.rules[static_cast<std::size_t>(r)].normal) normal += fmt::format(" || starts[{}] == {}", b, r);
            std::string owns = "driver == NONE";
            for (std::size_t i = 0; i < m_.acts.size(); ++i)
                if (m_.acts[i].box == static_cast<int>(b)) owns += fmt::format(" || at_act == {}", i);
            out += fmt::format(fmt::runtime(promela_text::weigh_box), b, normal, owns);
        }
        return "\nbyte used_rest, later_rest;\n" + out +
               "  if :: dead -> rest = used_rest :: !dead && later_rest > 0 -> rest = later_rest\n"
               "  :: !dead && later_rest == 0 && net -> rest = rests_unfinished :: else -> rest = "
               "starts_no_net fi;\n  used_rest = 0; later_rest = 0; holds = 0; goes_on = 0; from = 0; whole = 0\n}\n";
    }

    std::string wholeness() const {
        std::string as_found = "1", planned = "0", out;
        for (std::size_t f = 0; f < m_.flags.size(); ++f)
            as_found += fmt::format(" && flag[{}] == {}", f, m_.flags[f].start);
        for (std::size_t i = 0; i < m_.acts.size(); ++i) {
            const ModelAct& a = m_.acts[i];
            if (a.file->kind != family::ActKind::restart) continue;
            std::string all = fmt::format("at_act == {}", i);
            for (std::size_t b = 0; b < m_.boxes.size(); ++b)
                if (m_.in_box(a, static_cast<int>(b)) && !a.file->into.empty())
                    all += " && " + comes_up(b, a.file->into);
            planned += fmt::format(" || ({})", all);
        }
        out += fmt::format(
            "\ninline as_found() {{ holds = ({}); i_ = 0; do :: i_ < CELLS && holds -> holds = (c[i_] == found[i_]); "
            "i_++ :: else -> break od }}\n#define as_planned() ({})\n",
            as_found, planned);
        out += "inline all_new() {\n  holds = 1;\n";
        for (std::size_t f = 0; f < m_.flags.size(); ++f) {
            const ModelFlag& flag = m_.flags[f];
            if (flag.last_set < 0 && flag.selector) continue;
            const int value = flag.last_set < 0 ? flag.start : m_.acts[static_cast<std::size_t>(flag.last_set)].value;
            out += fmt::format("  if :: flag[{}] != {} -> holds = 0 :: else fi;\n", f,
                               value >= 0 ? std::to_string(value) : fmt::format("1 - began[{}]", f));
        }
        for (const auto& a : m_.acts)
            if (a.region >= 0 && a.cells > 0)
                out += fmt::format("  seen = 0; look({}, {}); if :: seen != (1 << NEW) -> holds = 0 :: else fi;\n",
                                   written_first(a), a.cells);
        out += "  skip\n}\ninline run_begins() {\n";
        for (std::size_t f = 0; f < m_.flags.size(); ++f)
            if (m_.flags[f].selector) out += fmt::format("  began[{0}] = (flag[{0}] == 1);\n", f);
        return out + "  skip\n}\n";
    }

    // The box starts in that mode, by one of its rules.
    std::string comes_up(std::size_t b, const std::string& mode) const {
        std::string out = "0";
        for (const int r : m_.boxes[b].rules)
            if (m_.rules[static_cast<std::size_t>(r)].file->mode == mode)
                out += fmt::format(" || starts[{}] == {}", b, r);
        return "(" + out + ")";
    }

    // The stretches of cells of a region, one a store: `what` with first cell and count.
    static std::string each_store(const ModelRegion& r, std::string_view what) {
        std::string out;
        for (int s = 0; r.cells > 0 && s < (r.selector < 0 ? 1 : 2); ++s)
            out += fmt::format(fmt::runtime(what), r.first[s], r.cells);
        return out;
    }

    std::string flushes() const {
        std::string out;
        for (int b = -1; b < static_cast<int>(m_.boxes.size()); ++b) {
            out += fmt::format("inline flush_{}() {{ ", b < 0 ? "all" : std::to_string(b));
            for (const auto& r : m_.regions)
                if (b < 0 || r.box == b) out += each_store(r, "forget({}, {}); ");
            out += "i_ = 0 }\n";
        }
        if (!timed()) return out + "#define pass(t) skip\n";
        out +=
            "inline wait(a, n, t, limit) {\n  i_ = a;\n  do\n  :: i_ < (a) + (n) && risk[i_] -> age[i_] = age[i_] + "
            "t;\n"
            "     if :: age[i_] >= limit -> FORGET(i_) skip :: else fi; i_++\n"
            "  :: i_ < (a) + (n) && !risk[i_] -> i_++\n  :: i_ >= (a) + (n) -> break\n  od\n}\ninline pass(t) { ";
        for (const auto& r : m_.regions)
            if (limited(r)) out += each_store(r, fmt::format("wait({{}}, {{}}, t, {}); ", ms(*r.file->buffered_s)));
        return out + "i_ = 0 }\n";
    }

    std::string beginning() const {
        std::string out = "  d_step {\n";
        for (std::size_t f = 0; f < m_.flags.size(); ++f)
            out += fmt::format("    flag[{}] = {};\n", f, m_.flags[f].start);
        out += "    run_begins()\n  };\n";
        std::string spare;
        for (const auto& r : m_.regions)
            if (r.selector >= 0 && r.cells > 0)
                spare += fmt::format("holds_as_found({}, {}); ", first_of(r, true), r.cells);
        if (spare.empty()) return out;
        return out +
               "  /* what a spare store holds as found: whole, of a third release, or torn */\n"
               "  if :: base = OTHER :: base = TORN fi;\n  d_step { " +
               spare + "base = 0; i_ = 0 };\n";
    }

    std::string act(std::size_t i) const {
        const ModelAct& a = m_.acts[i];
        const int m = moment_[i];
        std::string out = fmt::format("\nact_{0}: /* {1} */\n  at_act = {0}; at_cell = 0;\n", i, a.file->id);
        const std::string flush = fmt::format("flush_{}()", a.box < 0 ? "all" : std::to_string(a.box));
        switch (a.file->kind) {
            case family::ActKind::write: out += write(a, m); break;
            case family::ActKind::set:
                out += fmt::format("  may_cut({0});\n  flag[{1}] = {2};\n  may_cut({0});\n", m, a.flag,
                                   a.value >= 0 ? std::to_string(a.value) : fmt::format("1 - began[{}]", a.flag));
                break;
            case family::ActKind::restart: out += restart(a, m, flush); break;
            case family::ActKind::end: out += fmt::format("  may_cut({});\n  goto ended;\n", m); break;
            default: out += fmt::format("  may_cut({});\n  d_step {{ pass({}) }};\n", m, ms(a.least_s)); break;
        }
        if (a.file->kind == family::ActKind::write && a.file->forced) out += "  d_step { " + flush + " };\n";
        return out + "  from_cell = 0;\n";
    }

    std::string write(const ModelAct& a, int m) const {
        const ModelRegion& r = m_.regions[static_cast<std::size_t>(a.region)];
        if (a.cells == 0) return fmt::format("  may_cut({});\n", m);
        std::string wait = "0";
        for (int i = a.cells - 1; i >= 0; --i)
            wait = fmt::format("(from_cell == {} -> {} : {})", i, ms(r.least_s[static_cast<std::size_t>(i)]), wait);
        wait = timed() ? fmt::format("took = {}; pass(took); took = 0; ", wait) : "";
        return fmt::format(
            R"(  base = {0};
  do
  :: from_cell >= {1} -> break
  :: from_cell < {1} && c[base + from_cell] == NEW && !rewrite -> from_cell++
  :: else ->
     at_cell = from_cell; FORGET(base + from_cell)
     if
     :: left > 0 -> cut({2} + from_cell); if :: {6} -> {3} :: else fi; base = 0; goto power_lost
     :: true -> skip
     fi;
     d_step {{ {5}was[base + from_cell] = c[base + from_cell]; c[base + from_cell] = NEW; {4}
       from_cell++ }}
  od;
  base = 0;
)",
            written_first(a), a.cells, m,
            r.file->atomic ? "if :: true -> skip :: true -> c[base + from_cell] = NEW fi"
            : r.buffers()  ? "if :: true -> skip :: true -> c[base + from_cell] = TORN fi"
                           : "c[base + from_cell] = TORN",
            r.buffers() ? fmt::format("risk[base + from_cell] = 1;{}", timed() ? " age[base + from_cell] = 0;" : "")
                        : "was[base + from_cell] = 0;",
            wait, m_.supplies == 1 ? "true" : broken(a));
    }

    std::string restart(const ModelAct& a, int m, const std::string& flush) const {
        std::string out = fmt::format(
            "  may_cut({0});\n  mark = 1;\n  may_cut({0});\n  mark = 0;\n"
            "  d_step {{ {1}; find_starts(); seen = 0; i_ = 0; net = 0 }};\n",
            m, flush);
        for (std::size_t b = 0; b < m_.boxes.size(); ++b) {
            if (!m_.in_box(a, static_cast<int>(b))) continue;
            out += fmt::format(
                "  if\n  :: starts[{0}] == NONE -> d_step {{ no_start({0}); outcome = rest }}; goto over\n", b);
            if (!a.file->into.empty())
                out +=
                    fmt::format("  :: starts[{0}] != NONE && !{1} -> stray = 1; stray_box = {0}; goto power_returns\n",
                                b, comes_up(b, a.file->into));
            out += "  :: else\n  fi;\n";
        }
        return out;
    }

    const Model& m_;
    int cuts_;
    std::vector<int> moment_;
};

}  // namespace

std::string promela(const family::Family& family, const change::ChangeSheet& sheet, int cuts) {
    const Model m = compile(family, sheet);
    for (const auto& box : m.boxes)
        if (box.rules.empty()) throw std::invalid_argument("no boot order is known of " + box.file->role);
    if (m.cells > 250 || m.acts.size() > 250) throw std::invalid_argument("more than 250 cells or acts");
    return Writer(m, cuts).all();
}

}  // namespace fettle::cutmap
