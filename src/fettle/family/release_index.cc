// Reading a package's JSON index by the family file's mapping (JSON pointers, RFC 6901).
#include <fmt/core.h>

#include <limits>
#include <set>

#include "fettle/base/digest.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/family/release.h"

namespace fettle::family {
namespace {

constexpr std::size_t most_pieces = 200'000;
constexpr std::size_t longest_text = 4096;
constexpr std::size_t most_faults = 20;  // named; further ones are counted

struct Faults {
    std::vector<std::string> named;
    std::size_t more = 0;

    void add(const std::string& pointer, const std::string& problem) {
        if (named.size() < most_faults)
            named.push_back(printable(pointer.substr(0, 200)) + ": " + problem);
        else
            ++more;
    }
    bool any() const { return !named.empty(); }
};

const char* kind_words(const json::value& v) {
    switch (v.kind()) {
        case json::kind::null: return "null";
        case json::kind::bool_: return "true or false";
        case json::kind::int64:
        case json::kind::uint64:
        case json::kind::double_: return "a number";
        case json::kind::string: return "a text";
        case json::kind::array: return "a list";
        case json::kind::object: return "an object";
    }
    return "something else";
}

enum class Must { yes, no };

// One object of the index, read through a map of pointers that are relative to it.
class Item {
public:
    Item(const json::value& v, std::string base, const std::map<std::string, std::string>& pointers, Faults& faults)
        : value_(v), base_(std::move(base)), pointers_(pointers), faults_(faults) {}

    std::string pointer(const std::string& field) const {
        const auto at = pointers_.find(field);
        return base_ + (at == pointers_.end() ? "/" + field : at->second);
    }

    // nullptr when the mapping does not name the field or the index does not have it; missing and `must`: a fault.
    const json::value* find(const std::string& field, Must must) {
        const auto at = pointers_.find(field);
        if (at == pointers_.end()) return nullptr;
        json::error_code ec;
        const json::value* v = value_.find_pointer(at->second, ec);
        if (v && !v->is_null()) return v;
        if (must == Must::yes) faults_.add(pointer(field), "is missing");
        return nullptr;
    }

    std::string text(const std::string& field, Must must) {
        const json::value* v = find(field, must);
        return v ? text_at(*v, pointer(field), must) : std::string{};
    }

    std::vector<std::string> texts(const std::string& field) {
        std::vector<std::string> out;
        const json::value* v = find(field, Must::no);
        if (!v) return out;
        if (!v->is_array()) {
            faults_.add(pointer(field), fmt::format("is {}; a list of texts was expected", kind_words(*v)));
            return out;
        }
        std::size_t i = 0;
        for (const json::value& item : v->get_array())
            out.push_back(text_at(item, fmt::format("{}/{}", pointer(field), i++), Must::yes));
        return out;
    }

    std::optional<std::uint64_t> count(const std::string& field, Must must) {
        const json::value* v = find(field, must);
        if (!v) return std::nullopt;
        if (v->is_int64() && v->get_int64() >= 0) return static_cast<std::uint64_t>(v->get_int64());
        // A size or counter beyond 2^63 is no size: it would wrap where sums are made.
        faults_.add(pointer(field), fmt::format("is {}; a whole number from 0 to 9223372036854775807 was expected",
                                                v->is_number() ? json::serialize(*v) : kind_words(*v)));
        return std::nullopt;
    }

    bool truth(const std::string& field) {
        const json::value* v = find(field, Must::no);
        if (!v) return false;
        if (v->is_bool()) return v->get_bool();
        faults_.add(pointer(field), fmt::format("is {}; true or false was expected", kind_words(*v)));
        return false;
    }

private:
    std::string text_at(const json::value& v, const std::string& at, Must must) {
        if (!v.is_string()) {
            faults_.add(at, fmt::format("is {}; a text was expected", kind_words(v)));
            return {};
        }
        std::string s(v.get_string());
        if (s.empty() && must == Must::yes) faults_.add(at, "is empty");
        if (s.size() > longest_text) faults_.add(at, fmt::format("is longer than {} bytes", longest_text));
        if (!is_utf8(s)) faults_.add(at, "is not UTF-8");
        if (s.find('\0') != std::string::npos) faults_.add(at, "holds a NUL");
        return s;
    }

    const json::value& value_;
    std::string base_;
    const std::map<std::string, std::string>& pointers_;
    Faults& faults_;
};

std::string lower(std::string s) {
    for (char& c : s)
        if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
    return s;
}

constexpr struct {
    const char* name;
    std::size_t hex_digits;
} algorithms[] = {{"sha256", 64}, {"sha512", 128}, {"sha1", 40}, {"md5", 32}, {"crc32", 8}};

Piece read_piece(const Family& family, Item& item, Faults& faults) {
    Piece p;
    p.name = item.text("name", Must::yes);
    p.box = item.text("box", Must::yes);
    p.region = item.text("region", Must::yes);
    p.version = item.text("version", Must::yes);
    PieceFile file;
    file.path = item.text("file", Must::yes);
    file.size = item.count("size", Must::yes).value_or(0);
    for (const auto& a : algorithms) {
        const std::string digest = lower(item.text(a.name, Must::yes));
        if (digest.empty()) continue;
        if (digest.size() != a.hex_digits || digest.find_first_not_of("0123456789abcdef") != std::string::npos)
            faults.add(item.pointer(a.name),
                       fmt::format("is no {} digest; {} hex digits were expected", a.name, a.hex_digits));
        else
            file.digests[a.name] = digest;
    }
    p.files.push_back(std::move(file));
    p.issues = item.texts("issues");
    if (!p.box.empty() && !family.box(p.box))
        faults.add(item.pointer("box"),
                   fmt::format("is \"{}\"; family {} has no box of that role", printable(p.box), family.id));
    else if (!p.region.empty() && !family.regions.empty() && !p.box.empty() && !family.region(p.box, p.region))
        faults.add(item.pointer("region"), fmt::format("is \"{}\"; the {} box of family {} has no such region",
                                                       printable(p.region), p.box, family.id));
    return p;
}

void read_pieces(const Family& family, Item& top, Release& out, Faults& faults) {
    const json::value* list = top.find("pieces", Must::yes);
    if (!list) return;
    const std::string base = top.pointer("pieces");
    if (!list->is_array()) return faults.add(base, fmt::format("is {}; a list was expected", kind_words(*list)));
    const json::array& items = list->get_array();
    if (items.empty()) return faults.add(base, "is empty; a release has at least one piece");
    if (items.size() > most_pieces)
        return faults.add(base, fmt::format("has {} pieces; at most {} are read", items.size(), most_pieces));
    std::set<std::pair<std::string, std::string>> seen;
    for (std::size_t i = 0; i < items.size(); ++i) {
        const std::string at = fmt::format("{}/{}", base, i);
        if (!items[i].is_object()) {
            faults.add(at, fmt::format("is {}; an object was expected", kind_words(items[i])));
            continue;
        }
        Item item(items[i], at, family.package->piece_fields, faults);
        Piece p = read_piece(family, item, faults);
        if (!p.name.empty() && !seen.emplace(p.box, p.name).second)
            faults.add(item.pointer("name"),
                       fmt::format("is \"{}\" a second time for the {} box", printable(p.name), printable(p.box)));
        out.pieces.push_back(std::move(p));
    }
}

}  // namespace

std::uint64_t Piece::bytes() const {
    std::uint64_t sum = 0;
    for (const PieceFile& f : files) sum += f.size;
    return sum;
}

std::uint64_t Release::bytes() const {
    std::uint64_t sum = 0;
    for (const Piece& p : pieces) sum += p.bytes();
    return sum;
}

const Piece* Release::piece(std::string_view box, std::string_view name) const {
    for (const Piece& p : pieces)
        if (p.box == box && p.name == name) return &p;
    return nullptr;
}

Result<Release> read_index(const Family& family, std::string_view text) {
    if (!family.package)
        return bad_input("package-rule-missing", family.id,
                         "the family file does not say how this maker's package index is read",
                         "add a [package] section to the family file (docs/family-file.md)");
    const PackageRule& rule = *family.package;
    const auto parsed = parse_json(text, rule.index);
    if (!parsed) return pass(parsed);
    Faults faults;
    Release out;
    out.index_path = rule.index;
    out.index_sha256 = sha256_hex(text);
    Item top(*parsed, "", rule.release_fields, faults);
    out.family = top.text("family", Must::yes);
    out.release = top.text("release", Must::yes);
    out.markets = top.texts("markets");
    out.installs_from = top.text("installs_from", Must::no);
    if (const auto c = top.count("counter", Must::no)) out.counter = static_cast<std::int64_t>(*c);
    out.one_way_door = top.truth("one_way_door");
    out.cures = top.texts("cures");
    read_pieces(family, top, out, faults);
    std::uint64_t sum = 0;
    for (const Piece& p : out.pieces) {
        const std::uint64_t next = sum + p.bytes();
        if (next < sum || next > static_cast<std::uint64_t>(std::numeric_limits<std::int64_t>::max())) {
            faults.add(top.pointer("pieces"), "the sizes add up to more than any card holds");
            break;
        }
        sum = next;
    }
    if (!faults.any()) return out;
    std::string problem = join(faults.named, "; ");
    if (faults.more) problem += fmt::format("; and {} more faults", faults.more);
    return bad_input("index-faults", rule.index, problem,
                     "get the package again from its source; if it is whole, the family file's [package] mapping does "
                     "not suit this maker's index");
}

}  // namespace fettle::family
