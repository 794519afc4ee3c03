// From the readings found to an answer: take one, ask, or say how far it could be read.
#include "fettle/identity/label.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "fettle/base/text.h"
#include "fettle/family/label.h"
#include "fettle/identity/search.h"

namespace fettle::identity {
namespace {

constexpr std::size_t longest_label = 64;  // characters
constexpr char unreadable = '?';           // typed for a character that nobody can read: it can be any

// Blanks at the ends are dropped, runs of blanks become one: that is typing, not reading.
std::string tidy(std::string_view text) {
    std::string out;
    for (const char c : trim(text)) {
        const bool blank = c == ' ' || c == '\t';
        if (!blank)
            out += c;
        else if (out.empty() || out.back() != ' ')
            out += ' ';
    }
    return out;
}

// Characters, not bytes: a typed umlaut is one place.
std::vector<std::string> characters(std::string_view text) {
    std::vector<std::string> out;
    for (const char c : text) {
        const bool tail = (static_cast<unsigned char>(c) & 0xC0) == 0x80;
        if (tail && !out.empty() && static_cast<unsigned char>(out.back()[0]) >= 0xC0 && out.back().size() < 4)
            out.back() += c;
        else
            out.emplace_back(1, c);
    }
    return out;
}

Choices choices_for(const std::vector<std::string>& typed, const LabelText& label) {
    Choices out;
    for (std::size_t i = 0; i < typed.size(); ++i) {
        out.emplace_back();
        if (typed[i].size() != 1) continue;
        const char c = typed[i][0];
        if (c == unreadable)
            for (char any = 0x20; any < 0x7F; ++any) out.back().push_back({any, 0});
        else if (std::find(label.sure.begin(), label.sure.end(), i) != label.sure.end())
            out.back().push_back({c, 0});
        else
            out.back() = look_alikes(c, label.source);
    }
    return out;
}

class Labeller {
public:
    Labeller(const family::LabelRule& rule, const LabelText& label, std::string_view where)
        : rule_(rule), label_(label), where_(where) {}

    LabelAnswer run() {
        out_.typed = tidy(label_.text);
        typed_ = characters(out_.typed);
        auto matcher = family::LabelMatcher::make(rule_);
        if (!matcher) {
            halt("pattern-unusable", "the family's pattern cannot be used: " + matcher.error().problem, "family file");
            return std::move(out_);
        }
        if (typed_.empty() || typed_.size() > longest_label) {
            halt("label-unreadable",
                 typed_.empty()
                     ? "nothing was typed"
                     : fmt::format("has {} characters; no label is longer than {}", typed_.size(), longest_label),
                 "typed");
            return std::move(out_);
        }
        const Choices choices = choices_for(typed_, label_);
        const Found found = search(*matcher, choices);
        for (const Candidate& c : found.agreed) out_.readings.push_back(reading(*matcher, c));
        out_.more_readings = found.more;
        if (out_.readings.empty()) {
            none(*matcher, choices, found);
        } else {
            weigh();
            decide(found);
        }
        return std::move(out_);
    }

private:
    void halt(std::string code, const std::string& text, std::string rests_on) {
        out_.judgement.add({std::move(code), Verdict::halt, text, where_, std::move(rests_on)});
    }

    Reading reading(const family::LabelMatcher& matcher, const Candidate& c) const {
        Reading out;
        out.text = c.text;
        out.cost = c.cost;
        const auto fields = matcher.fields(c.text).value_or(std::vector<family::FieldSpan>{});
        for (const auto& f : fields) {
            out.fields[f.name] = f.text;
            const auto known = rule_.values.find(f.name);
            if (known != rule_.values.end() && !known->second.empty() && !known->second.contains(f.text))
                out.unknown_values.push_back(f.name);
        }
        for (std::size_t i = 0; i < typed_.size(); ++i) {
            const std::string read(1, c.text[i]);
            if (typed_[i] == read) continue;
            Correction fix{i, typed_[i], read, "", "likelihood"};
            for (const auto& f : fields)
                if (i >= f.at && i < f.at + f.text.size()) fix.field = f.name;
            if (typed_[i][0] == unreadable) {
                fix.forced_by = only_one_fits(matcher, c.text, i) ? "character class" : "check character";
                out.corrections.push_back(std::move(fix));
                continue;
            }
            std::string back = c.text;
            back[i] = typed_[i][0];
            const auto as_typed = matcher.fields(back);
            if (!as_typed)
                fix.forced_by = "character class";
            else if (!matcher.check_agrees(*as_typed))
                fix.forced_by = "check character";
            out.corrections.push_back(std::move(fix));
        }
        return out;
    }

    // By the grammar alone, whatever the check character says.
    static bool only_one_fits(const family::LabelMatcher& matcher, std::string text, std::size_t at) {
        int fit = 0;
        for (char any = 0x20; any < 0x7F && fit < 2; ++any) {
            text[at] = any;
            fit += matcher.fields(text).has_value() ? 1 : 0;
        }
        return fit == 1;
    }

    // Shares of the likelihood. The list of known values may speak for the first reading, never against it.
    void weigh() {
        const bool first_known = out_.readings.front().unknown_values.empty();
        double sum = 0;
        for (Reading& r : out_.readings) {
            r.share = std::exp(out_.readings.front().cost - r.cost);
            if (first_known && !r.unknown_values.empty()) r.share *= unknown_value_weight;
            sum += r.share;
        }
        for (Reading& r : out_.readings) r.share /= sum;
    }

    void decide(const Found& found) {
        const Reading& first = out_.readings.front();
        double next = 0;
        for (std::size_t i = 1; i < out_.readings.size(); ++i) next = std::max(next, out_.readings[i].share);
        if (found.more) next = std::max(next, first.share * std::exp(first.cost - found.stopped_at));
        out_.taken = first.share >= taken_ratio * next;
        if (!out_.taken) return ask_character();
        for (const Correction& c : first.corrections) note(first, c);
        for (const std::string& field : first.unknown_values) ask_value(first, field);
    }

    void note(const Reading& r, const Correction& c) {
        const bool one_way = std::all_of(out_.readings.begin(), out_.readings.end(),
                                         [&](const Reading& o) { return o.text[c.position] == r.text[c.position]; });
        if (c.typed[0] == unreadable) {
            out_.judgement.add({"character-filled-in", Verdict::cant_say,
                                fmt::format("character {}, which could not be read, is taken as {}: {}", c.position + 1,
                                            spoken(c.read[0]),
                                            c.forced_by == "check character"
                                                ? "the check character allows nothing else, and so no longer tells "
                                                  "whether another was mistyped"
                                                : "labels of this form have nothing else there"),
                                place(c), c.forced_by});
            return;
        }
        std::string text =
            fmt::format("character {}, typed {}, is read as {}", c.position + 1, shown(c.typed), spoken(c.read[0]));
        if (c.forced_by == "character class")
            text += ": " + (c.field.empty() ? "nothing else can stand there" : c.field + " takes nothing else there");
        else if (c.forced_by == "check character")
            text += ": the check character agrees with nothing else";
        out_.judgement.add({"corrected-character", Verdict::mind, text, place(c),
                            one_way ? c.forced_by : c.forced_by + "; among look-alikes by odds that are a guess"});
    }

    std::string place(const Correction& c) const {
        return c.field.empty() ? fmt::format("{}[{}]", where_, c.position + 1)
                               : fmt::format("{}.{}[{}]", where_, c.field, c.position + 1);
    }

    static std::string shown(const std::string& character) {
        return character.size() == 1 && character[0] > 0x20 && character[0] < 0x7F ? spoken(character[0])
                                                                                   : printable(character);
    }

    // The value is read without doubt, but the family does not know it. The known ones are offered, none is taken.
    void ask_value(const Reading& r, const std::string& field) {
        const auto& known = rule_.values.at(field);
        const std::string& value = r.fields.at(field);
        std::vector<std::string> list;
        for (const auto& [v, meaning] : known) list.push_back(fmt::format("{} ({})", v, meaning));
        const std::string text =
            fmt::format("{} reads {}, which this family does not know; it knows {}", field, value, join(list, ", "));
        out_.judgement.add({"value-not-known", Verdict::cant_say, text, where_ + "." + field, "family file"});
        if (out_.question) return;
        Question q;
        q.where = where_ + ", " + field;
        q.text = fmt::format("Look again: what stands for the {}? It was read as {}.", field, value);
        q.answers.push_back(value + ", just so");
        for (const Reading& other : out_.readings) {
            const auto at = other.fields.find(field);
            if (at == other.fields.end() || !known.contains(at->second)) continue;
            const std::string offer = fmt::format("{} ({})", at->second, known.at(at->second));
            if (std::find(q.answers.begin(), q.answers.end(), offer) == q.answers.end()) q.answers.push_back(offer);
        }
        q.answers.emplace_back("something else");
        out_.question = std::move(q);
    }

    // Ask for the character that leaves the least expected entropy over the readings.
    void ask_character() {
        Question best;
        std::size_t position = 0;
        double least = -1;
        std::map<char, double> best_split;
        for (std::size_t i = 0; i < typed_.size(); ++i) {
            std::map<char, std::vector<double>> groups;
            for (const Reading& r : out_.readings) groups[r.text[i]].push_back(r.share);
            if (groups.size() < 2) continue;
            double left = 0;
            std::map<char, double> split;
            for (const auto& [c, shares] : groups) {
                double group = 0;
                for (const double s : shares) group += s;
                for (const double s : shares)
                    if (s > 0) left -= s * std::log2(s / group);
                split[c] = group;
            }
            if (least < 0 || left < least - 1e-9) {
                least = left;
                position = i;
                best_split = std::move(split);
            }
        }
        best.where = fmt::format("{}, character {}", where_, position + 1);
        best.bits_left = std::max(least, 0.0);
        std::vector<std::pair<double, char>> order;
        for (const auto& [c, share] : best_split) order.emplace_back(-share, c);
        std::sort(order.begin(), order.end());
        for (const auto& [share, c] : order) best.answers.push_back(spoken(c));
        best.text = fmt::format("Look at character {} of the {} again ({}): is it {}?", position + 1, where_,
                                marked(position), join(best.answers, " or "));
        if (typed_[position][0] == unreadable) {
            out_.judgement.add(
                {"character-not-read", Verdict::cant_say,
                 fmt::format("character {} of {} could not be read: it can be {}", position + 1, marked(position),
                             out_.more_readings ? "one of many" : join(best.answers, " or ")),
                 where_, "typed"});
            out_.question = std::move(best);
            return;
        }
        std::vector<std::string> texts;
        for (const Reading& r : out_.readings) {
            if (texts.size() == 4) break;
            texts.push_back(fmt::format("{} ({:.0f} %)", r.text, 100 * r.share));
        }
        const std::size_t rest = out_.readings.size() - texts.size();
        out_.judgement.add({"more-than-one-reading", Verdict::cant_say,
                            fmt::format("can be read as {}{}; none is {:.0f} times likelier than the next",
                                        join(texts, ", "), rest ? fmt::format(" and {} more", rest) : "", taken_ratio),
                            where_, "guess (odds of look-alikes)"});
        out_.question = std::move(best);
    }

    // The typed text with one character set off: 8[O]1B.
    std::string marked(std::size_t position) const {
        std::string out;
        for (std::size_t i = 0; i < typed_.size(); ++i)
            out += i == position ? "[" + printable(typed_[i]) + "]" : printable(typed_[i]);
        return out;
    }

    void none(const family::LabelMatcher& matcher, const Choices& choices, const Found& found) {
        if (!found.check_wrong.empty()) return check_wrong(matcher, found.check_wrong.front());
        const Prefix prefix = longest_prefix(matcher.pattern(), choices);
        const bool may_end = matcher.pattern().accepts(prefix.at);
        const family::CharSet could = matcher.pattern().next(prefix.at);
        std::vector<std::string> expected;
        if (could.any()) expected.push_back(family::words(could));
        if (may_end) expected.emplace_back("the end");
        set_prefix(prefix.characters, join(expected, " or "));
        const std::string found_words = prefix.characters == typed_.size()
                                            ? "the text ends"
                                            : fmt::format("\"{}\" stands", printable(typed_[prefix.characters]));
        halt("label-not-accepted",
             fmt::format("\"{}\" can be read as far as \"{}\"; then {} where {} was expected", printable(out_.typed),
                         printable(out_.accepted_prefix), found_words, out_.expected_next),
             "family file");
    }

    void check_wrong(const family::LabelMatcher& matcher, const Candidate& nearest) {
        const auto fields = matcher.fields(nearest.text).value_or(std::vector<family::FieldSpan>{});
        const auto wanted = matcher.expected_check(fields);
        std::size_t at = typed_.size();
        for (const auto& f : fields)
            if (f.name == "check") at = f.at;
        set_prefix(at, wanted ? fmt::format("check character {}", *wanted) : "a check character over digits");
        std::string over;
        for (const std::string& name : rule_.check->over) over += family::field_text(fields, name);
        halt("check-character-wrong",
             wanted ? fmt::format("{} does not agree with its check character: for {} it is {}, not {}. One character "
                                  "is wrong, or two neighbours are exchanged",
                                  nearest.text, over, *wanted, family::field_text(fields, "check"))
                    : fmt::format("the check character of {} cannot be computed: {} holds something else than digits",
                                  nearest.text, over),
             "check character");
    }

    void set_prefix(std::size_t count, std::string expected) {
        out_.accepted_characters = count;
        for (std::size_t i = 0; i < count && i < typed_.size(); ++i) out_.accepted_prefix += typed_[i];
        out_.expected_next = std::move(expected);
    }

    const family::LabelRule& rule_;
    const LabelText& label_;
    std::string where_;
    std::vector<std::string> typed_;
    LabelAnswer out_;
};

}  // namespace

LabelAnswer read_label(const family::LabelRule& rule, const LabelText& label, std::string_view where) {
    return Labeller(rule, label, where).run();
}

}  // namespace fettle::identity
