// The automaton is the position automaton of the pattern: one state for each place where a character stands, no empty
// moves. A counted repeat stands for that many copies, so the number of places is bounded.
#include "fettle/family/pattern.h"

#include <fmt/core.h>

#include <algorithm>
#include <memory>
#include <set>

namespace fettle::family {

namespace {

struct Part;
using PartPtr = std::unique_ptr<Part>;
struct Part {
    enum Kind { set, sequence, choice, repeat } kind = sequence;
    CharSet chars;               // set
    std::vector<PartPtr> parts;  // sequence, choice; repeat: one
    int least = 0, most = 0;     // repeat; most -1: no bound
};

constexpr int repeat_limit = 100;
constexpr int depth_limit = 16;

CharSet range(char from, char to) {
    CharSet out;
    for (int c = from; c <= to; ++c) out.set(static_cast<std::size_t>(c));
    return out;
}

bool is_letter_or_digit(char c) {
    return (c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z');
}

// Thrown inside the parser only, turned into a Result by compile().
struct Refused {
    std::size_t at;
    std::string problem, next;
};

// The places of one part that may come first and last, and whether it may be empty.
struct Ends {
    std::set<std::uint16_t> first, last;
    bool empty = false;
};

}  // namespace

class PatternParser {
public:
    explicit PatternParser(std::string_view text) : text_(text) {}

    Pattern run() {
        if (text_.empty()) refuse("is empty", "write what the label looks like");
        if (text_.size() > 1024) refuse("is longer than 1,024 characters", "shorten it");
        const PartPtr all = choice(0);
        if (at_ < text_.size()) refuse("closes a group that was never opened", "take out this )");
        out_.classes_.resize(1);
        out_.follow_.resize(1);
        out_.last_.assign(1, false);
        const Ends ends = build(*all);
        out_.follow_[0].assign(ends.first.begin(), ends.first.end());
        out_.last_.resize(out_.classes_.size(), false);
        out_.last_[0] = ends.empty;
        for (const std::uint16_t p : ends.last) out_.last_[p] = true;
        for (auto& f : out_.follow_) {
            std::sort(f.begin(), f.end());
            f.erase(std::unique(f.begin(), f.end()), f.end());
        }
        return std::move(out_);
    }

private:
    [[noreturn]] void refuse(std::string problem, std::string next) const {
        throw Refused{at_, std::move(problem), std::move(next)};
    }
    bool more() const { return at_ < text_.size(); }
    char peek() const { return text_[at_]; }
    bool eat(std::string_view s) {
        if (!text_.substr(at_).starts_with(s)) return false;
        at_ += s.size();
        return true;
    }

    PartPtr choice(int depth) {
        if (depth > depth_limit) refuse("nests groups too deep", "write it flatter");
        auto out = std::make_unique<Part>();
        out->kind = Part::choice;
        out->parts.push_back(sequence(depth));
        while (eat("|")) out->parts.push_back(sequence(depth));
        return out;
    }

    PartPtr sequence(int depth) {
        auto out = std::make_unique<Part>();
        while (more() && peek() != '|' && peek() != ')') out->parts.push_back(repeated(depth));
        return out;
    }

    PartPtr repeated(int depth) {
        PartPtr part = one(depth);
        if (!more()) return part;
        int least = 0, most = 0;
        if (eat("?"))
            most = 1;
        else if (eat("*"))
            most = -1;
        else if (eat("+"))
            least = 1, most = -1;
        else if (peek() == '{')
            counts(least, most);
        else
            return part;
        if (more() && (peek() == '?' || peek() == '*' || peek() == '+' || peek() == '{'))
            refuse("has two repeats in a row", "take one of them out");
        auto out = std::make_unique<Part>();
        out->kind = Part::repeat;
        out->parts.push_back(std::move(part));
        out->least = least;
        out->most = most;
        return out;
    }

    void counts(int& least, int& most) {
        eat("{");
        const auto number = [&]() -> int {
            int v = -1;
            while (more() && peek() >= '0' && peek() <= '9' && v <= repeat_limit)
                v = (v < 0 ? 0 : v) * 10 + (text_[at_++] - '0');
            return v;
        };
        least = number();
        most = least;
        if (least >= 0 && eat(",")) most = more() && peek() == '}' ? -1 : number();
        if (least < 0 || !more() || peek() != '}' || (most != -1 && most < least))
            refuse("has a repeat that is not of the form {n}, {n,} or {n,m}", "write for example {5} or {2,4}");
        if (least > repeat_limit || most > repeat_limit)
            refuse(fmt::format("repeats more than {} times", repeat_limit), "labels are shorter than that");
        eat("}");
    }

    PartPtr one(int depth) {
        auto out = std::make_unique<Part>();
        const char c = peek();
        if (c == '(') return group(depth);
        out->kind = Part::set;
        if (c == '[') {
            out->chars = bracket();
        } else if (c == '\\') {
            out->chars = escape();
        } else if (c == '.') {
            refuse("has a . that takes any character",
                   "name what may stand there, for example [A-Z0-9]; a dot itself is \\.");
        } else if (c == '^' || c == '$') {
            refuse("has a ^ or $", "leave it out: the whole text is always matched");
        } else if (c == '?' || c == '*' || c == '+' || c == '{') {
            refuse("repeats nothing here", "write what is to be repeated before it");
        } else if (static_cast<unsigned char>(c) < 0x20 || static_cast<unsigned char>(c) > 0x7E) {
            refuse("has a character that is not printable ASCII", "labels are read as plain letters, digits and signs");
        } else {
            out->chars.set(static_cast<std::size_t>(c));
            ++at_;
        }
        return out;
    }

    PartPtr group(int depth) {
        const std::size_t open = at_;
        eat("(");
        std::string name;
        if (eat("?P<")) {
            const auto end = text_.find('>', at_);
            name = std::string(text_.substr(at_, end == std::string_view::npos ? 0 : end - at_));
            if (name.empty() ||
                !std::all_of(name.begin(), name.end(), [](char ch) { return is_letter_or_digit(ch) || ch == '_'; }))
                refuse("names a field with something else than letters, digits and _", "write (?P<name>…)");
            if (std::find(out_.fields_.begin(), out_.fields_.end(), name) != out_.fields_.end())
                refuse("names the field \"" + name + "\" twice", "give each field its own name");
            out_.fields_.push_back(name);
            at_ = end + 1;
        } else if (!eat("?:") && more() && peek() == '?') {
            refuse("has a group that is neither (…), (?:…) nor (?P<name>…)", "use one of these three");
        }
        const std::size_t from = at_;
        PartPtr out = choice(depth + 1);
        const std::size_t to = at_;
        if (!eat(")")) {
            at_ = open;
            refuse("opens a group that is never closed", "add the missing )");
        }
        if (!name.empty()) out_.field_patterns_[name] = std::string(text_.substr(from, to - from));
        return out;
    }

    CharSet escape() {
        eat("\\");
        if (!more()) refuse("ends with a \\", "write the character that it stands before");
        const char c = text_[at_++];
        if (c == 'd') return range('0', '9');
        if (c == 'w') return range('0', '9') | range('A', 'Z') | range('a', 'z') | range('_', '_');
        if (is_letter_or_digit(c) || static_cast<unsigned char>(c) > 0x7E || c < 0x20) {
            --at_;
            refuse("has an escape that is not \\d, \\w or \\ before a sign", "name the characters in a class [ ]");
        }
        return range(c, c);
    }

    CharSet bracket() {
        const std::size_t open = at_;
        eat("[");
        if (more() && peek() == '^') refuse("has a class that says what may not stand", "name what may stand there");
        CharSet out;
        bool first = true;
        while (more() && (peek() != ']' || first)) {
            first = false;
            if (text_.substr(at_).starts_with("[:"))
                refuse("has a named class", "name the characters, for example A-Z");
            const CharSet low = class_item();
            if (low.count() == 1 && more() && peek() == '-' && at_ + 1 < text_.size() && text_[at_ + 1] != ']') {
                ++at_;
                const CharSet high = class_item();
                if (high.count() != 1 || only(high) < only(low))
                    refuse("has a range that does not rise", "write it as from-to, for example A-Z");
                out |= range(only(low), only(high));
            } else {
                out |= low;
            }
        }
        if (!eat("]")) {
            at_ = open;
            refuse("opens a class that is never closed", "add the missing ]");
        }
        return out;
    }

    CharSet class_item() {
        const char c = peek();
        if (c == '\\') return escape();
        if (static_cast<unsigned char>(c) < 0x20 || static_cast<unsigned char>(c) > 0x7E)
            refuse("has a character that is not printable ASCII", "labels are read as plain letters, digits and signs");
        ++at_;
        return range(c, c);
    }

    static char only(const CharSet& s) {
        for (int c = 0; c < 128; ++c)
            if (s.test(static_cast<std::size_t>(c))) return static_cast<char>(c);
        return 0;
    }

    // --- places ---

    void link(const std::set<std::uint16_t>& from, const std::set<std::uint16_t>& to) {
        for (const std::uint16_t p : from) out_.follow_[p].insert(out_.follow_[p].end(), to.begin(), to.end());
    }

    Ends build(const Part& p) {
        if (++built_ > 20'000) refuse("repeats too much inside repeats", "write it flatter");
        switch (p.kind) {
            case Part::set: {
                if (out_.classes_.size() > Pattern::most_places)
                    refuse(fmt::format("has more than {} places", Pattern::most_places),
                           "labels are shorter than that");
                const auto place = static_cast<std::uint16_t>(out_.classes_.size());
                out_.classes_.push_back(p.chars);
                out_.follow_.emplace_back();
                return {{place}, {place}, false};
            }
            case Part::sequence: {
                Ends all{{}, {}, true};
                for (const PartPtr& part : p.parts) append(all, build(*part));
                return all;
            }
            case Part::choice: {
                Ends all;
                for (const PartPtr& part : p.parts) {
                    const Ends e = build(*part);
                    all.first.insert(e.first.begin(), e.first.end());
                    all.last.insert(e.last.begin(), e.last.end());
                    all.empty = all.empty || e.empty;
                }
                return all;
            }
            case Part::repeat: break;
        }
        Ends all{{}, {}, true};
        const int copies = p.most == -1 ? std::max(p.least, 1) : p.most;
        for (int i = 0; i < copies; ++i) {
            Ends e = build(*p.parts.front());
            if (p.most == -1 && i == copies - 1) link(e.last, e.first);
            if (i >= p.least) e.empty = true;
            append(all, e);
        }
        return all;
    }

    void append(Ends& all, const Ends& e) {
        link(all.last, e.first);
        if (all.empty) all.first.insert(e.first.begin(), e.first.end());
        if (e.empty)
            all.last.insert(e.last.begin(), e.last.end());
        else
            all.last = e.last;
        all.empty = all.empty && e.empty;
    }

    std::string_view text_;
    std::size_t at_ = 0;
    std::size_t built_ = 0;  // bounds repeats of what is empty, which never become places
    Pattern out_;
};

Result<Pattern> Pattern::compile(std::string_view pattern) {
    try {
        return PatternParser(pattern).run();
    } catch (const Refused& r) {
        return bad_input("pattern-unusable", fmt::format("character {}", r.at + 1), r.problem, r.next);
    }
}

Pattern::States Pattern::step(const States& at, char c) const {
    States out;
    const auto code = static_cast<unsigned char>(c);
    if (code >= 128) return out;
    for (const std::uint16_t p : at)
        for (const std::uint16_t q : follow_[p])
            if (classes_[q].test(code)) out.push_back(q);
    std::sort(out.begin(), out.end());
    out.erase(std::unique(out.begin(), out.end()), out.end());
    return out;
}

bool Pattern::accepts(const States& at) const {
    return std::any_of(at.begin(), at.end(), [&](std::uint16_t p) { return last_[p]; });
}

CharSet Pattern::next(const States& at) const {
    CharSet out;
    for (const std::uint16_t p : at)
        for (const std::uint16_t q : follow_[p]) out |= classes_[q];
    return out;
}

const std::string* Pattern::field_pattern(std::string_view name) const {
    const auto at = field_patterns_.find(name);
    return at == field_patterns_.end() ? nullptr : &at->second;
}

std::string words(const CharSet& set) {
    CharSet rest = set;
    std::vector<std::string> parts;
    const auto whole = [&](char from, char to, const char* name) {
        const CharSet r = range(from, to);
        if ((rest & r) != r) return;
        rest &= ~r;
        parts.emplace_back(name);
    };
    whole('0', '9', "a digit");
    whole('A', 'Z', "a capital letter");
    whole('a', 'z', "a small letter");
    std::string singles;
    for (int c = 0; c < 128; ++c) {
        if (!rest.test(static_cast<std::size_t>(c))) continue;
        if (!singles.empty()) singles += ' ';
        singles += c == ' ' ? std::string("(blank)") : std::string(1, static_cast<char>(c));
    }
    if (!singles.empty()) parts.push_back(parts.empty() && rest.count() > 1 ? "one of " + singles : singles);
    std::string out;
    for (std::size_t i = 0; i < parts.size(); ++i) out += (i ? i + 1 == parts.size() ? " or " : ", " : "") + parts[i];
    return out.empty() ? "nothing" : out;
}

}  // namespace fettle::family
