#include "fettle/contact/draft_package.h"

#include <fmt/core.h>

#include <algorithm>
#include <set>

#include "fettle/base/text.h"
#include "fettle/family/family.h"
#include "fettle/family/release.h"

namespace fettle::contact {
namespace {

// What the mapping of a family file can say, before it is tried.
struct Mapping {
    std::string why_not;  // empty: it can be said
    std::string pieces, files;
};

Mapping mapping_of(const Index& x) {
    Mapping out;
    static const std::set<std::string> known = {"json", "xml", "csv", "tsv", "ini", "digest-list"};
    if (!known.contains(x.form)) return {"no form of index that a family file can name is written so", "", ""};
    if (x.via != Via::path)
        return {fmt::format("its records lead to files by {}, a family file needs the path itself", words(x.via)), "",
                ""};
    const bool tree = x.form == "json" || x.form == "xml";
    if (!tree) {
        out.pieces = x.table.address;
        return out;
    }
    if (x.path_field == "key" || (x.form == "json" && x.path_field == "."))
        return {"its paths are names of members, not values of a list", "", ""};
    out.pieces = x.table.address;
    if (const std::size_t at = out.pieces.rfind("/*/"); at != std::string::npos) {
        if (!x.parent) return {"its files stand in lists within lists", "", ""};
        out.files = out.pieces.substr(at + (x.form == "json" ? 2 : 3));
        out.pieces.erase(at);
    }
    if (out.pieces.empty() || out.pieces.find('*') != std::string::npos || out.files.find('*') != std::string::npos)
        return {"its records are no plain list", "", ""};
    return out;
}

std::vector<std::string> column_of(const Table& t, std::size_t c) {
    std::vector<std::string> out;
    for (const auto& row : t.rows) out.push_back(row[c]);
    return out;
}

bool all_different_words(const std::vector<std::string>& cells) {
    std::set<std::string_view> seen;
    for (const std::string& c : cells)
        if (c.empty() || c.size() > 200 ||
            c.find_first_of("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ") == std::string::npos ||
            !seen.insert(c).second)
            return false;
    return true;
}

std::string sample_of(const std::vector<std::string>& cells) {
    const std::set<std::string> different(cells.begin(), cells.end());
    std::string out = plural(different.size(), "different value");
    std::size_t n = 0;
    for (const std::string& s : different) {
        if (s.empty() || ++n > 3) continue;
        out += (n == 1 ? ": " : ", ") + printable(s.substr(0, 40));
    }
    return out;
}

std::string said(const Counted& c) {
    return fmt::format("{} of {} agree", c.agree, c.looked_at);
}

class Writer {
public:
    Writer(const DraftInput& in, const std::string& id, const std::string& role)
        : in_(in), x_(in.studies.back().indexes.front()), map_(mapping_of(x_)), id_(id), role_(role) {}

    const std::string& why_not() const { return map_.why_not; }

    std::string section(PackageDraft& out) {
        const Index& x = x_;
        std::string t = "[package]\n";
        line(t, "index", x.path,
             fmt::format("{} of its {} records name a file, {} files in all", x.named, x.table.rows.size(), x.covered));
        line(t, "form", x.form, "reads so from end to end");
        if (x.form == "csv" && x.separator != ',') line(t, "separator", std::string(1, x.separator), "");
        if (x.headless) {
            std::vector<std::string> names;
            for (const std::string& f : x.table.fields) names.push_back(toml_text(f));
            t += fmt::format("columns = [{}]  # its first line is a record already: named by their place\n",
                             join(names, ", "));
        }
        const bool list = x.form == "digest-list";
        if (list) line(t, "digest", x.digests.front().making->algorithm, verdict(x.digests.front()));
        t += remark("unknown: which box and which region a piece is for. Everything is put to one until you say.");
        hints(t);
        t += fmt::format("always = {{ box = {}, region = \"unknown\" }}\n", toml_text(role_));
        if (list) {
            t += remark("unknown: what of a path is the piece's name. Each file is taken for a piece of its own.");
            t += "path_pattern = '(?P<name>.+)'\n";
        }
        t += "# signature: unknown. A package without one is \"whole, origin not proven\".\n";
        const auto release = release_told(in_.studies);
        t += "[package.release]\n";
        line(t, "release", release->address, fmt::format("\"{}\": {}", printable(release->text), release->evidence));
        if (!list && x.form != "csv" && x.form != "tsv") line(t, "pieces", map_.pieces, "what repeats");
        family(t);
        if (!list) fields(t, out);
        return t;
    }

private:
    static void line(std::string& t, const char* key, const std::string& value, const std::string& why) {
        t += fmt::format("{} = {}{}{}\n", key, toml_text(value), why.empty() ? "" : "  # ", printable(why));
    }

    static std::string verdict(const DigestField& d) {
        if (!d.making) return fmt::format("unknown how it is made: 0 of {} agree in any way tried", d.sample.looked_at);
        if (d.over_all) return fmt::format("{}, {}", said(*d.over_all), d.making->words());
        return fmt::format("{} in a sample, {}", said(d.sample), d.making->words());
    }

    void hints(std::string& t) const {
        const Table& table = x_.parent ? *x_.parent : x_.table;
        for (std::size_t c = 0; c < table.fields.size(); ++c) {
            const std::string& f = table.fields[c];
            const auto cells = column_of(table, c);
            const std::set<std::string> different(cells.begin(), cells.end());
            if (f == x_.path_field || f == "key" || different.size() * 2 > cells.size() + 1 || different.size() > 20)
                continue;
            t += remark(fmt::format("  perhaps the field {}: {}", toml_text(f), sample_of(cells)));
        }
    }

    void family(std::string& t) const {
        for (const Scalar& s : x_.scalars)
            if (!in_.id.empty() && s.text == in_.id) return line(t, "family", s.address, "equals the id that you gave");
        if (const auto told = family_told(in_.studies))
            t += remark(
                fmt::format("likely: family = {}, \"{}\": {}", toml_text(told->address), told->text, told->evidence));
        for (const Scalar& s : x_.scalars)
            if (is_version(s.text) && s.address != release_told(in_.studies)->address)
                t += remark(fmt::format("unknown: {} is \"{}\"; the earliest release that it installs on?",
                                        toml_text(s.address), s.text));
    }

    void fields(std::string& t, PackageDraft& out) const {
        const bool nested = !map_.files.empty();
        const Table& piece = nested ? *x_.parent : x_.table;
        t += "[package.piece]\n";
        std::vector<std::string> versions;
        std::string name;
        for (std::size_t c = 0; c < piece.fields.size(); ++c) {
            const std::string& f = piece.fields[c];
            if (f == "key" || (!nested && (f == x_.path_field || f == x_.size_field))) continue;
            if (std::any_of(x_.digests.begin(), x_.digests.end(),
                            [&](const auto& d) { return !nested && d.field == f; }))
                continue;
            const auto cells = column_of(piece, c);
            if (std::all_of(cells.begin(), cells.end(), is_version))
                versions.push_back(f);
            else if (name.empty() && all_different_words(cells) && !digest_text(cells.front()))
                name = f;
        }
        if (!name.empty()) {
            line(t, "name", name, fmt::format("another one in each of {} records", piece.rows.size()));
        } else if (!nested) {
            line(t, "name", x_.path_field, "unknown: no field names each piece, so its path does");
        }
        if (versions.size() == 1)
            line(t, "version", versions.front(),
                 fmt::format("looks like a version in each of {} records", piece.rows.size()));
        else
            t += remark("unknown: the version of a piece; that of the release is taken");
        for (const std::string& v : versions)
            if (versions.size() > 1) t += remark(fmt::format("  perhaps the field {}", toml_text(v)));
        if (nested) {
            line(t, "files", map_.files, "a list in each record");
            t += "[package.file]\n";
        }
        line(t, nested ? "path" : "file", x_.path_field,
             fmt::format("{} of {} are paths of files", x_.named, x_.table.rows.size()));
        if (!x_.size_field.empty()) line(t, "size", x_.size_field, said(x_.sizes) + " with the files' sizes");
        std::set<std::string> taken;
        for (const DigestField& d : x_.digests) {
            const bool usable =
                d.making && d.making->of == Making::Of::whole && taken.insert(d.making->algorithm).second;
            if (usable)
                line(t, d.making->algorithm.c_str(), d.field, verdict(d));
            else
                t += remark(fmt::format("the field {} holds digests that no key here can name: {}", toml_text(d.field),
                                        verdict(d)));
        }
        if (taken.empty()) {
            t += remark("unknown: no digest that a family file can name. What is missing or spoilt cannot be told.");
            out.unknown.emplace_back("no digest in the index: a spoilt file cannot be told");
        }
    }

    const DraftInput& in_;
    const Index& x_;
    Mapping map_;
    std::string id_, role_;
};

void list_others(const Study& s, std::string& t) {
    for (std::size_t i = 1; i < s.indexes.size() && i < 6; ++i) {
        const Index& x = s.indexes[i];
        std::string d = "no digests";
        if (!x.digests.empty())
            d = x.digests.front().making ? fmt::format("{} in a sample, {}", said(x.digests.front().sample),
                                                       x.digests.front().making->words())
                                         : "digests made in no way known";
        t += remark(
            fmt::format("second best: {} as {} {}: names {} files; {}", x.path, x.form, x.table.address, x.covered, d));
    }
    for (const std::string& d : s.disagreements) t += remark("disagrees: " + d);
    for (const std::string& n : s.not_read) t += remark("not read: " + n);
}

}  // namespace

std::string remark(std::string_view text) {
    return "# " + printable(text) + "\n";
}

PackageDraft draft_package(const DraftInput& input, const std::string& head, const std::string& id,
                           const std::string& role) {
    PackageDraft out;
    if (input.studies.empty()) {
        out.toml = remark("[package]: unknown, no package was given.");
        out.unknown.emplace_back("no package was given");
        return out;
    }
    const Study& s = input.studies.back();
    const auto give_up = [&](const std::string& why) {
        out.toml += remark("[package]: " + why);
        out.toml += remark(fmt::format("So pieces = files, for now: {} files, {}.", s.files, human_bytes(s.bytes)));
        out.unknown.push_back(why);
        list_others(s, out.toml);
    };
    for (const Study& each : input.studies) {
        if (each.indexes.empty()) {
            give_up(fmt::format("no index recognised in {}: {}", printable(each.name),
                                each.texts == 0   ? "none of its files is a text"
                                : each.texts == 1 ? "its one text lists no file of the package"
                                                  : fmt::format("of {} texts none lists files of it", each.texts)));
            return out;
        }
        const Index& x = each.indexes.front();
        std::string what = fmt::format("index of {}: {} as {}, {} of {} records name a file", each.name, x.path, x.form,
                                       x.named, x.table.rows.size());
        if (!x.size_field.empty()) what += fmt::format("; sizes: {}", said(x.sizes));
        if (x.digests.empty()) what += "; digests: none";
        for (const DigestField& d : x.digests)
            what += !d.making
                        ? fmt::format("; field {}: digests made in no way known (0 of {})", d.field, d.sample.looked_at)
                    : d.over_all ? fmt::format("; {}, {}", said(*d.over_all), d.making->words())
                                 : fmt::format("; {} in a sample, {}", said(d.sample), d.making->words());
        if (each.outside)
            what += fmt::format("; {} not in it",
                                each.outside == 1 ? "1 file is" : fmt::format("{} files are", each.outside));
        out.found.push_back(printable(what));
        for (const std::string& o : each.outside_first)
            out.found.push_back(fmt::format(
                "  not in it: {}; the shelf refuses what an index does not name, but for its signature", o));
        for (const DigestField& d : x.digests) {
            for (const std::string& w : d.wrong) out.found.push_back(printable(fmt::format("  does not agree: {}", w)));
            const std::size_t wrong = d.over_all ? d.over_all->looked_at - d.over_all->agree : 0;
            if (wrong > d.wrong.size())
                out.found.push_back(fmt::format("  does not agree: {} more", wrong - d.wrong.size()));
            if (wrong && d.making->of == Making::Of::whole) {
                out.refused = true;
                out.unknown.push_back(printable(fmt::format(
                    "whether the index of {} is wrong or its files are: {} of {} digests do not hold. The shelf "
                    "refuses it so",
                    each.name, wrong, d.over_all->looked_at)));
            }
        }
        for (const std::string& d : each.disagreements) out.found.push_back("disagrees: " + d);
        for (const std::string& n : each.not_read) out.found.push_back("not read: " + n);
    }
    for (const std::string& f : out.found) out.toml += remark(f);
    const Index& x = s.indexes.front();
    for (const Study& each : input.studies)
        if (each.indexes.front().path != x.path || each.indexes.front().table.address != x.table.address) {
            give_up("unknown. The packages have different indexes: are they of one family?");
            return out;
        }
    Writer writer(input, id, role);
    const bool list = x.form == "digest-list";
    const bool list_usable =
        !list || (!x.digests.empty() && x.digests.front().making && x.digests.front().making->of == Making::Of::whole);
    if (!writer.why_not().empty() || !list_usable) {
        give_up("not to be written yet: " +
                (list_usable ? writer.why_not() : "the digests of the list are made in no way known"));
        return out;
    }
    if (!release_told(input.studies)) {
        const bool could =
            std::any_of(x.scalars.begin(), x.scalars.end(), [](const auto& v) { return is_version(v.text); });
        const std::string_view would_tell = input.studies.size() > 1
                                                ? "A folder or archive named after it would tell"
                                                : "A folder or archive named after it, or a second package, would tell";
        give_up(could ? fmt::format("not to be written yet: unknown which value is the release. {}", would_tell)
                      : "not to be written yet: no single value of the index looks like a release, and a family file "
                        "reads the "
                        "release in the index");
        for (const Scalar& v : x.scalars)
            if (is_version(v.text))
                out.toml += remark(fmt::format("  perhaps {}: \"{}\"", toml_text(v.address), v.text));
        return out;
    }
    const std::string section = writer.section(out);
    const auto loaded = family::load_family_text(head + section);
    if (!loaded.mistakes.empty()) {
        give_up("not to be written yet: " + loaded.mistakes.front().problem);
        return out;
    }
    for (const Study& each : input.studies)
        if (const auto release = family::read_index(loaded.family, each.indexes.front().text); !release) {
            give_up(fmt::format("not to be written yet: read so, {} has faults: {}", each.name,
                                shortened(release.error().problem)));
            return out;
        } else {
            out.found.push_back(printable(fmt::format("read by this draft: release {} of {}, {} pieces",
                                                      release->release, each.name, release->pieces.size())));
        }
    out.read = true;
    out.toml += section;
    list_others(s, out.toml);
    out.unknown.emplace_back("which box and which region a piece is for");
    return out;
}

}  // namespace fettle::contact
