// Reading a package's index: what all forms share. The form's reader has brought named values; here they become a
// release, and everything that is no size, digest, box or region is named at its place.
#include <fmt/core.h>
#include <re2/re2.h>

#include <limits>
#include <optional>
#include <set>

#include "fettle/base/digest.h"
#include "fettle/base/text.h"
#include "fettle/family/digest_form.h"
#include "fettle/family/index_raw.h"
#include "fettle/family/release.h"

namespace fettle::family {
namespace {

constexpr std::size_t longest_text = 4096;
constexpr std::size_t most_faults = 20;

enum class Must { yes, no };

std::string shown(const Raw& v) {
    if (v.kind == RawKind::number) return v.text;
    return v.kind == RawKind::plain ? "\"" + printable(v.text.substr(0, 100)) + "\"" : words(v.kind);
}

// One item of the index, with the mapping that it was read by.
class Item {
public:
    Item(const RawItem& raw, const std::string& between, const std::map<std::string, std::string>& mapping,
         Faults& faults)
        : raw_(raw), between_(between), mapping_(mapping), faults_(faults) {}

    std::string place(const std::string& field) const {
        if (const Raw* v = find(field)) return v->place;
        const auto at = mapping_.find(field);
        return at == mapping_.end() ? raw_.place : raw_.place + between_ + at->second;
    }

    const Raw* find(const std::string& field) const {
        const auto at = raw_.fields.find(field);
        return at == raw_.fields.end() ? nullptr : &at->second;
    }

    // The value, or nullptr; what the mapping names must be there if `must`.
    const Raw* take(const std::string& field, Must must) {
        const Raw* v = find(field);
        if (!v && must == Must::yes && mapping_.contains(field)) faults_.add(place(field), "is missing");
        return v;
    }

    std::string text(const std::string& field, Must must) {
        const Raw* v = take(field, must);
        return v ? text_of(*v, must) : std::string{};
    }

    std::vector<std::string> texts(const std::string& field) {
        std::vector<std::string> out;
        const Raw* v = find(field);
        if (!v) return out;
        if (v->kind == RawKind::plain) {
            for (const std::string& part : split(v->text, ';'))
                if (const auto word = trim(part); !word.empty())
                    out.push_back(text_of({RawKind::plain, std::string(word), {}, v->place}, Must::yes));
            return out;
        }
        if (v->kind != RawKind::list) {
            faults_.add(v->place, fmt::format("is {}; a list of texts was expected", words(v->kind)));
            return out;
        }
        for (const Raw& item : v->items) out.push_back(text_of(item, Must::yes));
        return out;
    }

    std::optional<std::uint64_t> count(const std::string& field, Must must) {
        const Raw* v = take(field, must);
        if (!v) return std::nullopt;
        const bool may = v->kind == RawKind::number || v->kind == RawKind::plain;
        const auto n = may ? number_in<std::int64_t>(v->text) : std::nullopt;
        if (n && *n >= 0) return static_cast<std::uint64_t>(*n);
        // A size or counter beyond 2^63 is no size: it would wrap where sums are made.
        faults_.add(v->place,
                    fmt::format("is {}; a whole number from 0 to 9223372036854775807 was expected", shown(*v)));
        return std::nullopt;
    }

    bool truth(const std::string& field) {
        const Raw* v = find(field);
        if (!v) return false;
        if (v->kind == RawKind::truth || v->kind == RawKind::plain) {
            for (const char* yes : {"true", "yes", "1"})
                if (v->text == yes) return true;
            for (const char* no : {"false", "no", "0"})
                if (v->text == no) return false;
        }
        faults_.add(v->place, fmt::format("is {}; true or false was expected", shown(*v)));
        return false;
    }

private:
    std::string text_of(const Raw& v, Must must) {
        if (v.kind == RawKind::list && !v.items.empty() && v.items.front().kind == RawKind::plain) {
            faults_.add(v.place, fmt::format("stands {} times; once was expected", v.items.size()));
            return {};
        }
        if (v.kind != RawKind::text && v.kind != RawKind::plain) {
            faults_.add(v.place, fmt::format("is {}; a text was expected", words(v.kind)));
            return {};
        }
        if (v.text.empty() && must == Must::yes) faults_.add(v.place, "is empty");
        if (v.text.size() > longest_text) faults_.add(v.place, fmt::format("is longer than {} bytes", longest_text));
        if (!is_utf8(v.text)) faults_.add(v.place, "is not UTF-8");
        if (v.text.find('\0') != std::string::npos) faults_.add(v.place, "holds a NUL");
        return v.text;
    }

    const RawItem& raw_;
    const std::string& between_;
    const std::map<std::string, std::string>& mapping_;
    Faults& faults_;
};

constexpr struct {
    const char* name;
    std::size_t hex_digits;
} algorithms[] = {{"sha256", 64}, {"sha512", 128}, {"sha1", 40}, {"md5", 32}, {"crc32", 8}};

// What the file's own path tells by the family's pattern: field → text.
class PathPattern {
public:
    explicit PathPattern(const std::string& pattern) {
        if (pattern.empty()) return;
        RE2::Options quiet(RE2::Quiet);
        re_.emplace(pattern, quiet);
    }
    bool stands() const { return re_ && re_->ok(); }
    // nullopt when the path is not of that form.
    std::optional<std::map<std::string, std::string>> read(const std::string& path) const {
        const auto& names = re_->CapturingGroupNames();
        const auto groups = static_cast<std::size_t>(re_->NumberOfCapturingGroups()) + 1;
        std::vector<re2::StringPiece> found(groups);
        if (!re_->Match(path, 0, path.size(), RE2::ANCHOR_BOTH, found.data(), static_cast<int>(groups)))
            return std::nullopt;
        std::map<std::string, std::string> out;
        for (const auto& [group, name] : names) {
            const auto& text = found[static_cast<std::size_t>(group)];
            if (text.data()) out[name] = std::string(text);
        }
        return out;
    }

private:
    std::optional<RE2> re_;
};

class Reader {
public:
    Reader(const Family& family, const RawIndex& raw, Faults& faults)
        : family_(family), rule_(*family.package), raw_(raw), faults_(faults), pattern_(rule_.path_pattern) {}

    Release read() {
        Item top(raw_.release, raw_.between, rule_.release_fields, faults_);
        out_.family = top.text("family", Must::yes);
        out_.release = top.text("release", Must::yes);
        out_.markets = top.texts("markets");
        out_.installs_from = top.text("installs_from", Must::no);
        if (const auto c = top.count("counter", Must::no)) out_.counter = static_cast<std::int64_t>(*c);
        out_.one_way_door = top.truth("one_way_door");
        out_.cures = top.texts("cures");
        for (const RawItem& raw : raw_.pieces) read_piece(raw);
        if (out_.release.empty() && !rule_.release_fields.contains("release"))
            faults_.add(raw_.release.place, "no path tells the release");
        for (Piece& p : out_.pieces)
            if (p.version.empty() && !rule_.piece_fields.contains("version")) p.version = out_.release;
        check_sum(top.place("pieces"));
        return std::move(out_);
    }

private:
    PieceFile read_file(const RawItem& raw, const std::map<std::string, std::string>& mapping,
                        const std::string& path_field) {
        Item item(raw, raw_.between, mapping, faults_);
        PieceFile file;
        file.path = item.text(path_field, Must::yes);
        file.sized = mapping.contains("size");
        file.size = item.count("size", Must::yes).value_or(0);
        for (const auto& a : algorithms) {
            const std::string text = item.text(a.name, Must::yes);
            if (text.empty()) continue;
            const auto digest = digest_hex(text, a.name, a.hex_digits);
            if (!digest)
                faults_.add(item.place(a.name),
                            fmt::format("is no {} digest; {} hex digits were expected", a.name, a.hex_digits));
            else
                file.digests[a.name] = *digest;
        }
        return file;
    }

    void read_piece(const RawItem& raw) {
        Item item(raw, raw_.between, rule_.piece_fields, faults_);
        Piece p;
        if (raw.several_files)
            for (const RawItem& f : raw.files) p.files.push_back(read_file(f, rule_.file_fields, "path"));
        else
            p.files.push_back(read_file(raw, rule_.piece_fields, "file"));
        std::map<std::string, std::string> told;  // by the path
        if (pattern_.stands() && !p.files.empty() && !p.files.front().path.empty()) {
            if (auto found = pattern_.read(p.files.front().path))
                told = std::move(*found);
            else
                faults_.add(item.place("file"),
                            fmt::format("\"{}\" is not of the form of the family file's path_pattern",
                                        printable(p.files.front().path.substr(0, 200))));
        }
        const auto field = [&](const std::string& name) {
            if (rule_.piece_fields.contains(name)) return item.text(name, Must::yes);
            if (const auto at = told.find(name); at != told.end()) return at->second;
            const auto always = rule_.always.find(name);
            return always == rule_.always.end() ? std::string() : always->second;
        };
        p.name = field("name");
        p.box = field("box");
        p.region = field("region");
        p.version = field("version");
        p.issues = item.texts("issues");
        if (const auto at = told.find("issue"); at != told.end() && !at->second.empty()) p.issues = {at->second};
        if (const auto at = told.find("release"); at != told.end()) tell_release(at->second, item.place("file"));
        check_piece(p, item);
        join_piece(std::move(p), item);
    }

    // Every path that tells the release must tell the same one: members of two releases are not one.
    void tell_release(const std::string& release, const std::string& place) {
        if (out_.release.empty()) out_.release = release;
        if (out_.release != release)
            faults_.add(place,
                        fmt::format("is of release \"{}\", not \"{}\"", printable(release), printable(out_.release)));
    }

    void check_piece(const Piece& p, const Item& item) {
        if (!p.box.empty() && !family_.box(p.box))
            faults_.add(item.place("box"),
                        fmt::format("is \"{}\"; family {} has no box of that role", printable(p.box), family_.id));
        else if (!p.region.empty() && !family_.regions.empty() && !p.box.empty() && !family_.region(p.box, p.region))
            faults_.add(item.place("region"), fmt::format("is \"{}\"; the {} box of family {} has no such region",
                                                          printable(p.region), p.box, family_.id));
        for (const char* name : {"name", "box", "region"}) {
            const std::string& value = name == std::string_view("name")  ? p.name
                                       : name == std::string_view("box") ? p.box
                                                                         : p.region;
            if (value.empty() && !rule_.piece_fields.contains(name))
                faults_.add(item.place("file"), fmt::format("nothing tells its {}", name));
        }
    }

    // One file a line: lines of the same piece become one piece. In the other forms a second one is a fault.
    void join_piece(Piece p, const Item& item) {
        if (p.name.empty()) return out_.pieces.push_back(std::move(p));
        const auto [at, fresh] = seen_.emplace(std::pair(p.box, p.name), out_.pieces.size());
        if (fresh) return out_.pieces.push_back(std::move(p));
        Piece& first = out_.pieces[at->second];
        if (!rule_.one_file_a_line()) {
            faults_.add(item.place("name"),
                        fmt::format("is \"{}\" a second time for the {} box", printable(p.name), printable(p.box)));
            return out_.pieces.push_back(std::move(p));
        }
        if (first.region != p.region || first.version != p.version || first.issues != p.issues)
            faults_.add(item.place("file"), fmt::format("is a further file of piece \"{}\" but of another region, "
                                                        "version or issue",
                                                        printable(p.name)));
        for (PieceFile& f : p.files) first.files.push_back(std::move(f));
    }

    void check_sum(const std::string& place) {
        std::uint64_t sum = 0;
        for (const Piece& p : out_.pieces)
            for (const PieceFile& f : p.files) {
                const std::uint64_t next = sum + f.size;
                if (next < sum || next > static_cast<std::uint64_t>(std::numeric_limits<std::int64_t>::max()))
                    return faults_.add(place, "the sizes add up to more than any card holds");
                sum = next;
            }
    }

    const Family& family_;
    const PackageRule& rule_;
    const RawIndex& raw_;
    Faults& faults_;
    PathPattern pattern_;
    Release out_;
    std::map<std::pair<std::string, std::string>, std::size_t> seen_;  // (box, name) → place in pieces
};

}  // namespace

void Faults::add(const std::string& place, const std::string& problem) {
    if (named_.size() < most_faults)
        named_.push_back(printable(place.substr(0, 200)) + ": " + problem);
    else
        ++more_;
}

std::string Faults::problem() const {
    std::string out = join(named_, "; ");
    if (more_) out += fmt::format("; and {} more faults", more_);
    return out;
}

const char* words(RawKind kind) {
    switch (kind) {
        case RawKind::null: return "null";
        case RawKind::truth: return "true or false";
        case RawKind::number: return "a number";
        case RawKind::text:
        case RawKind::plain: return "a text";
        case RawKind::list: return "a list";
        case RawKind::object: return "an object";
    }
    return "something else";
}

bool PackageRule::one_file_a_line() const {
    return form == "digest-list" || form == "csv" || form == "tsv";
}

namespace {

RawIndex read_form(const PackageRule& rule, std::string_view text, Faults& faults) {
    if (rule.form == "xml") return read_xml_index(rule, text, faults);
    if (rule.form == "csv" || rule.form == "tsv") return read_table(rule, text, faults);
    if (rule.form == "ini") return read_ini_index(rule, text, faults);
    if (rule.form == "digest-list") return read_digest_list(rule, text, faults);
    if (rule.form == "cyclonedx") return read_cyclonedx_index(rule, text, faults);
    return read_json_index(rule, text, faults);
}

// What a reader of any form makes values of: signs that separate, and lines that are not indented. Far fewer bytes than
// the values take, so an index of nothing but commas is refused before it fills the memory.
constexpr std::size_t most_signs = 200000;

bool too_many_values(std::string_view text) {
    std::size_t signs = 0;
    for (std::size_t i = 0; i < text.size(); ++i) {
        const char c = text[i];
        const bool line = c == '\n' && i + 1 < text.size() && text[i + 1] != ' ' && text[i + 1] != '\t';
        signs += c == ',' || c == '[' || c == '{' || c == '<' || c == '=' || line;
    }
    return signs > most_signs;
}

}  // namespace

Result<Release> read_index(const Family& family, std::string_view text) {
    if (!family.package)
        return bad_input("package-rule-missing", family.id,
                         "the family file does not say how this maker's package index is read",
                         "add a [package] section to the family file (docs/family-file.md)");
    const PackageRule& rule = *family.package;
    if (too_many_values(text))
        return bad_input("index-faults", rule.index, "holds more than 200,000 values, which is more than Fettle reads",
                         "get the package again from its source");
    Faults faults;
    const RawIndex raw = read_form(rule, text, faults);
    Release out;
    // What is not of the form at all is one fault, not a missing everything.
    if (!faults.any() || !raw.pieces.empty() || !raw.release.fields.empty()) out = Reader(family, raw, faults).read();
    out.index_path = rule.index;
    out.index_sha256 = sha256_hex(text);
    if (!faults.any()) return out;
    return bad_input("index-faults", rule.index, faults.problem(),
                     "get the package again from its source; if it is whole, the family file's [package] mapping does "
                     "not suit this maker's index");
}

std::string family_named_in(const PackageRule& rule, std::string_view text) {
    if (too_many_values(text)) return "";
    Faults faults;
    const RawIndex raw = read_form(rule, text, faults);
    const auto at = raw.release.fields.find("family");
    return at == raw.release.fields.end() ? "" : at->second.text;
}

}  // namespace fettle::family
