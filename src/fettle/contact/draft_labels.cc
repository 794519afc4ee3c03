// Plates and views: kept word for word; a pattern says no more than the examples bear out.
#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "fettle/base/check_character.h"
#include "fettle/contact/draft.h"

namespace fettle::contact {
namespace {

enum class Class { digit, capital, small, sign };

Class class_of(char c) {
    if (c >= '0' && c <= '9') return Class::digit;
    if (c >= 'A' && c <= 'Z') return Class::capital;
    if (c >= 'a' && c <= 'z') return Class::small;
    return Class::sign;
}

struct Run {
    Class kind = Class::sign;
    std::string text;
};

std::vector<Run> runs_of(std::string_view text) {
    std::vector<Run> out;
    for (const char c : text) {
        const Class k = class_of(c);
        if (out.empty() || out.back().kind != k || k == Class::sign)
            out.push_back({k, std::string(1, c)});
        else
            out.back().text += c;
    }
    return out;
}

// "9A1X": classes with their lengths, signs as they stand: plates of one shape have one pattern.
std::string shape_of(std::string_view text) {
    std::string out;
    for (const Run& r : runs_of(text))
        out += r.kind == Class::sign ? r.text : fmt::format("{}{}", static_cast<int>(r.kind), r.text.size());
    return out;
}

std::string escaped(std::string_view text) {
    std::string out;
    for (const char c : text) {
        if (std::string_view("\\.+*?()|[]{}^$").find(c) != std::string_view::npos) out += '\\';
        out += c;
    }
    return out;
}

std::string class_pattern(const Run& r) {
    const char* of = r.kind == Class::digit ? "\\d" : r.kind == Class::capital ? "[A-Z]" : "[a-z]";
    return r.text.size() == 1 ? of : fmt::format("{}{{{}}}", of, r.text.size());
}

// Plain ASCII without control characters: what a pattern can describe.
bool plain(std::string_view text) {
    return !text.empty() && text.size() <= 100 &&
           std::all_of(text.begin(), text.end(), [](unsigned char c) { return c >= 0x20 && c < 0x7F; });
}

// The digits before the last character; nullopt if it cannot be a check character at all.
std::optional<bool> check_holds(const std::string& plate) {
    if (plate.size() < 4) return std::nullopt;
    std::string digits;
    for (const char c : plate.substr(0, plate.size() - 1))
        if (class_of(c) == Class::digit) digits += c;
    const auto want = mod11_2(digits);
    if (!want) return std::nullopt;
    return *want == plate.back();
}

// Where a check character stands, and which digits it is over: from the `first` to before the `end` of all others.
struct Way {
    std::size_t at = 0, first = 0, end = 0;
};

// Places of the digits besides the check character.
std::vector<std::size_t> digits_of(std::string_view plate, std::size_t check_at) {
    std::vector<std::size_t> out;
    for (std::size_t i = 0; i < plate.size(); ++i)
        if (i != check_at && class_of(plate[i]) == Class::digit) out.push_back(i);
    return out;
}

std::string covered(const std::string& plate, const Way& way) {
    std::string over;
    const auto places = digits_of(plate, way.at);
    for (std::size_t k = way.first; k < way.end && k < places.size(); ++k) over += plate[places[k]];
    return over;
}

// Plates with the same digits say the same: only different ones bear a rule out.
std::size_t different(const std::vector<std::string>& plates, const Way& way) {
    std::set<std::string> seen;
    for (const std::string& p : plates) seen.insert(covered(p, way));
    return seen.size();
}

Way last_over_all(const std::string& plate) {
    return {plate.size() - 1, 0, digits_of(plate, plate.size() - 1).size()};
}

bool holds(const std::string& plate, const Way& way) {
    const std::string over = covered(plate, way);
    return over.size() == way.end - way.first && mod11_2(over) == plate[way.at];
}

struct Found {
    Way way;
    std::size_t tried = 0;
};

// What a family file can say besides "the last character, over all digits": another place, or a stretch of the digits.
// Many ways are tried, so more plates must bear one out: by chance fewer than one search in a thousand finds one.
std::optional<Found> other_way(const std::vector<std::string>& plates) {
    const std::string& plate = plates.front();
    std::vector<Way> held;
    std::size_t tried = 0;
    for (std::size_t at = 0; at < plate.size(); ++at) {
        const auto digit = [&](std::size_t i) { return i < plate.size() && class_of(plate[i]) == Class::digit; };
        const bool alone = !digit(at - 1) && !digit(at + 1);  // at - 1 of 0 is beyond the end
        if (!digit(at) || !(at == 0 || at + 1 == plate.size() || alone)) continue;
        const std::size_t n = digits_of(plate, at).size();
        for (std::size_t first = 0; first < n; ++first)
            for (std::size_t end = first + 3; end <= n; ++end) {
                ++tried;
                const Way way{at, first, end};
                if (std::all_of(plates.begin(), plates.end(), [&](const auto& p) { return holds(p, way); }))
                    held.push_back(way);
            }
    }
    std::erase_if(held, [&](const Way& w) {
        return std::pow(11.0, static_cast<double>(different(plates, w))) < 1000.0 * static_cast<double>(tried);
    });
    if (held.empty()) return std::nullopt;
    // Noughts in front change nothing: then several hold, each within the widest. Any other two are no answer.
    const Way widest = *std::max_element(held.begin(), held.end(),
                                         [](const Way& a, const Way& b) { return a.end - a.first < b.end - b.first; });
    for (const Way& w : held)
        if (w.at != widest.at || w.end != widest.end) return std::nullopt;
    return Found{widest, tried};
}

// One field for each run of a class, cut where the check character and its digits begin and end.
void write_pattern(LabelDraft& out, const std::optional<Way>& way) {
    const std::string& plate = out.examples.front();
    std::vector<std::size_t> digits;
    if (way) digits = digits_of(plate, way->at);
    const std::size_t from = way ? digits[way->first] : 0, last = way ? digits[way->end - 1] : 0;
    int n = 0;
    for (std::size_t i = 0; i < plate.size();) {
        const Class kind = class_of(plate[i]);
        if (way && i == way->at) {
            out.pattern += "(?P<check>[0-9X])";
            ++i;
            continue;
        }
        if (kind == Class::sign) {
            out.pattern += escaped(plate.substr(i++, 1));
            continue;
        }
        std::size_t end = i + 1;
        while (end < plate.size() && class_of(plate[end]) == kind &&
               !(way && (end == way->at || (kind == Class::digit && (end == from || end == last + 1)))))
            ++end;
        const std::string name = fmt::format("part{}", ++n), text = plate.substr(i, end - i);
        out.parts.emplace_back(name, text);
        if (way && kind == Class::digit && i >= from && i <= last) out.over.push_back(name);
        out.pattern += fmt::format("(?P<{}>{})", name, class_pattern({kind, text}));
        i = end;
    }
}

LabelDraft plate_of(const std::vector<std::string>& given) {
    LabelDraft out;
    std::vector<std::string> examples, wrong;
    for (const std::string& p : given) (check_holds(p).value_or(false) ? examples : wrong).push_back(p);
    // Three that agree by chance: 1 in 1,331. Then one that does not is the odd one out, not the rule.
    if (examples.size() >= 3 && wrong.size() < examples.size() &&
        different(examples, last_over_all(examples.front())) >= 3)
        out.contradicts = wrong;
    else
        examples = given;
    out.examples = examples;
    // One plate in eleven agrees by chance, so one alone proves nothing.
    out.check_borne = different(examples, last_over_all(examples.front()));
    out.check = out.check_borne > 1 && std::all_of(examples.begin(), examples.end(),
                                                   [](const std::string& p) { return check_holds(p).value_or(false); });
    std::optional<Way> way;
    if (out.check) {
        way = last_over_all(examples.front());
        out.check_tried = 1;
    } else if (const auto found = other_way(examples)) {
        way = found->way;
        out.check = true;
        out.check_tried = found->tried;
    }
    write_pattern(out, way);
    if (way) out.check_at = way->at;
    return out;
}

// A check character is a digit on one plate and an X on another: those, too, are of the shape if it then holds.
std::vector<std::string> with_x(const std::vector<std::string>& examples, std::size_t at,
                                const std::vector<std::string>& all) {
    std::vector<std::string> out = examples;
    for (const std::string& p : all) {
        if (at >= p.size() || p[at] != 'X') continue;
        std::string as_digit = p;
        as_digit[at] = '0';
        if (shape_of(as_digit) == shape_of(examples.front())) out.push_back(p);
    }
    return out;
}

}  // namespace

std::vector<LabelDraft> draft_plates(const std::vector<std::string>& plates) {
    std::vector<std::pair<std::string, std::vector<std::string>>> shapes;  // in the order they were given
    for (const std::string& plate : plates) {
        if (!plain(plate)) continue;
        // A check character may be a digit here and an X there.
        std::string body = plate;
        if (check_holds(plate).value_or(false)) body.back() = '0';
        const std::string shape = shape_of(body);
        auto at = std::find_if(shapes.begin(), shapes.end(), [&](const auto& s) { return s.first == shape; });
        if (at == shapes.end()) at = shapes.insert(shapes.end(), {shape, {}});
        if (std::find(at->second.begin(), at->second.end(), plate) == at->second.end()) at->second.push_back(plate);
    }
    std::vector<LabelDraft> out;
    for (const auto& [shape, examples] : shapes) {
        LabelDraft l = plate_of(examples);
        if (l.check_tried > 1) {
            LabelDraft more = plate_of(with_x(examples, l.check_at, plates));
            if (more.check) l = std::move(more);
        }
        out.push_back(std::move(l));
    }
    // A plate that another draft has taken in is no shape of its own.
    std::set<std::string> taken;
    for (const LabelDraft& l : out)
        if (l.check_tried > 1) taken.insert(l.examples.begin(), l.examples.end());
    std::erase_if(out, [&](const LabelDraft& l) {
        return l.check_tried <= 1 && std::all_of(l.examples.begin(), l.examples.end(),
                                                 [&](const std::string& p) { return taken.contains(p); });
    });
    return out;
}

std::optional<LabelDraft> draft_view(const std::vector<std::string>& views) {
    LabelDraft out;
    std::string before;
    for (const std::string& view : views) {
        if (!plain(view)) return std::nullopt;
        // The release: the first word that looks like a version and is made of numbers and dots.
        std::size_t at = 0, end = 0;
        bool found = false;
        while (!found && at < view.size()) {
            end = std::min(view.find(' ', at), view.size());
            const std::string word = view.substr(at, end - at);
            found = is_version(word) && word.find_first_not_of("0123456789.") == std::string::npos;
            if (!found) at = end + 1;
        }
        if (!found) return std::nullopt;
        const auto dots = std::count(view.begin() + static_cast<std::ptrdiff_t>(at),
                                     view.begin() + static_cast<std::ptrdiff_t>(end), '.');
        std::string pattern;
        std::vector<std::pair<std::string, std::string>> parts;
        const auto rest = [&](const std::string& text) {
            for (const Run& r : runs_of(text)) {
                if (r.kind == Class::sign) {
                    pattern += escaped(r.text);
                    continue;
                }
                parts.emplace_back(fmt::format("part{}", parts.size() + 1), r.text);
                pattern += fmt::format("(?P<{}>{})", parts.back().first, class_pattern(r));
            }
        };
        rest(view.substr(0, at));
        pattern += "(?P<release>\\d+";
        for (std::ptrdiff_t i = 0; i < dots; ++i) pattern += "\\.\\d+";
        pattern += ")";
        rest(view.substr(end));
        if (!before.empty() && pattern != before) return std::nullopt;
        if (before.empty()) out.parts = parts;
        before = pattern;
        if (std::find(out.examples.begin(), out.examples.end(), view) == out.examples.end())
            out.examples.push_back(view);
    }
    if (before.empty()) return std::nullopt;
    out.pattern = before;
    return out;
}

}  // namespace fettle::contact
