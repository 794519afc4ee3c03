// Section package: what the maker hands out, and how its index is read.
#include <re2/re2.h>

#include <algorithm>
#include <set>

#include "fettle/base/bytes.h"
#include "fettle/base/cms.h"
#include "fettle/base/text.h"
#include "fettle/family/load_parts.h"

namespace fettle::family {
namespace {

const std::vector<std::string> digests = {"sha256", "sha512", "sha1", "md5", "crc32"};

const std::vector<std::string> of_release = {"release", "family",       "markets", "installs_from",
                                             "counter", "one_way_door", "cures"};

// What is wrong with one mapping value of this form, empty when it is right; and what it should look like.
std::string wrong_value(const std::string& form, const std::string& v) {
    if (form == "json") return v[0] == '/' ? "" : "a JSON pointer such as \"/name\" was expected";
    if (form == "xml") {
        const std::vector<std::string> names = split(v, '/');
        for (std::size_t i = 0; i < names.size(); ++i) {
            const std::string& n = names[i];
            const bool attribute = n.starts_with('@');
            if (n.empty() || n == "@" || (attribute && i + 1 < names.size()) ||
                n.find_first_of(" \t<>&\"'*[]()|=", attribute ? 1 : 0) != std::string::npos)
                return "a path of XML names such as \"meta/version\" or \"part/@size\" was expected";
        }
        return "";
    }
    if (form == "cyclonedx")
        return v[0] == '/' || (v.starts_with("property ") && v.size() > 9)
                   ? ""
                   : "a JSON pointer such as \"/name\", or \"property NAME\", was expected";
    if (form == "digest-list")
        return v.size() > 1 && v[0] == '#' ? "" : "the name of a remark such as \"#release\" was expected";
    return "";
}

// INI: the release's values are "section/key", its pieces the sections of a name with one star.
void check_ini(Section& r, const PackageRule& p) {
    for (const auto& [field, v] : p.release_fields) {
        const bool pieces = field == "pieces";
        const bool right =
            pieces ? std::count(v.begin(), v.end(), '*') == 1 : v.find('/') != std::string::npos && v.back() != '/';
        if (!right)
            r.log().mistake(r.at(field),
                            "is \"" + v + "\"; " +
                                (pieces ? "the sections' name with one star such as \"part *\" was expected"
                                        : "a section and a key such as \"about/version\" was expected"),
                            "docs/family-file.md says how the values are written in this form of index");
    }
}

std::map<std::string, std::string> read_mapping(Section& s, const std::string& form,
                                                const std::vector<std::string>& must,
                                                const std::vector<std::string>& may) {
    std::map<std::string, std::string> out;
    const auto read = [&](const std::string& key, Need need) {
        const std::string v = s.text(key, need);
        if (v.empty()) return;
        if (const std::string wrong = wrong_value(form, v); !wrong.empty())
            s.log().mistake(s.at(key), "is \"" + v + "\"; " + wrong,
                            "docs/family-file.md says how the values are written in this form of index");
        out[key] = v;
    };
    for (const std::string& key : must) read(key, Need::must);
    for (const std::string& key : may) read(key, Need::may);
    return out;
}

void read_signature(Section& g, PackageRule& p) {
    p.signature_form = g.word("form", Need::must, {"ed25519", "cms"});
    p.signature_file = g.text("file", Need::must);
    p.unsigned_refused = g.word("without", Need::may, {"refused", "mind"}, "refused") == "refused";
    if (p.signature_form == "ed25519") {
        p.signature_key = g.text("key", Need::must);
        const auto key = unhex(p.signature_key);
        if (!p.signature_key.empty() && (!key || key->size() != 32))
            g.log().mistake(g.at("key"),
                            "has " + std::to_string(p.signature_key.size()) +
                                " characters; an Ed25519 public key is 64 hex digits (32 bytes)",
                            "copy the maker's public key again");
        return;
    }
    if (p.signature_form != "cms") return;
    p.signature_certificates = g.texts("certificates", Need::must);
    for (std::size_t i = 0; i < p.signature_certificates.size(); ++i)
        if (const auto facts = certificate_facts(p.signature_certificates[i]); !facts)
            g.log().mistake(g.at("certificates") + "[" + std::to_string(i + 1) + "]", facts.error().problem,
                            facts.error().next.words());
    p.signature_signer = g.text("signer", Need::may);
    if (const auto n = g.integer("needs", Need::may, 1, 8)) p.signature_needs = static_cast<int>(*n);
}

void check_path_pattern(Section& s, const PackageRule& p) {
    if (p.path_pattern.empty()) return;
    const RE2 re(p.path_pattern, RE2::Quiet);
    const std::string at = s.at("path_pattern");
    if (!re.ok()) {
        s.log().mistake(at, "is no pattern: " + re.error(), "docs/family-file.md, \"Patterns\"");
        return;
    }
    static const std::set<std::string> known = {"name", "box", "region", "version", "issue", "release"};
    for (const auto& [name, group] : re.NamedCapturingGroups())
        if (!known.contains(name))
            s.log().mistake(at,
                            "has a field \"" + name + "\"; name, box, region, version, issue or release was expected",
                            "name the field so, or take its name out");
}

// Everything that a piece must have comes from the mapping, from the path or is always the same.
void check_told(Section& s, const PackageRule& p) {
    std::set<std::string> told;
    for (const auto& [field, v] : p.piece_fields) told.insert(field);
    for (const auto& [field, v] : p.always) told.insert(field);
    if (const RE2 re(p.path_pattern, RE2::Quiet); re.ok())
        for (const auto& [name, group] : re.NamedCapturingGroups()) told.insert(name);
    for (const char* must : {"name", "box", "region"})
        if (!told.contains(must))
            s.log().mistake(s.at("piece"), std::string("nothing tells the ") + must + " of a piece",
                            std::string("map it in [package.piece]") +
                                (must == std::string("name") ? "" : ", write it in always = { … },") +
                                " or make it a field of path_pattern");
    if (!p.release_fields.contains("release") && !told.contains("release"))
        s.log().mistake(s.at("release"), "nothing tells the release",
                        "map it in [package.release] or make it a field of path_pattern");
}

void read_always(Section& s, PackageRule& p) {
    s.table("always", Need::may, [&](Section& a) {
        for (const char* key : {"box", "region"})
            if (const std::string v = a.text(key, Need::may); !v.empty()) p.always[key] = v;
    });
}

void read_digest_list_keys(Section& s, PackageRule& p) {
    p.digest = s.word("digest", Need::must, digests);
    s.table("release", Need::may, [&](Section& r) { p.release_fields = read_mapping(r, p.form, {}, of_release); });
    s.not_here("piece", "a digest list says nothing but path and digest: use path_pattern and always");
    p.piece_fields = {{"file", "path"}};
    if (!p.digest.empty()) p.piece_fields[p.digest] = "digest";
}

std::vector<std::string> with_digests(std::vector<std::string> fields) {
    fields.insert(fields.end(), digests.begin(), digests.end());
    return fields;
}

// Tables, INI and CycloneDX: one file a piece, or a line.
void read_flat_keys(Section& s, PackageRule& p) {
    const bool ini = p.form == "ini", inventory = p.form == "cyclonedx";
    if (inventory) p.release_fields["release"] = "/metadata/component/version";
    s.table("release", inventory ? Need::may : Need::must, [&](Section& r) {
        for (auto& [field, v] :
             read_mapping(r, p.form, ini ? std::vector<std::string>{"pieces"} : std::vector<std::string>{}, of_release))
            p.release_fields[field] = v;
        if (ini) check_ini(r, p);
    });
    if (inventory) p.piece_fields = {{"name", "/name"}, {"version", "/version"}};
    s.table("piece", Need::must, [&](Section& r) {
        const std::vector<std::string> may = {"name", "box", "region", "version", "issues", "size"};
        for (auto& [field, v] : read_mapping(r, p.form, {"file"}, inventory ? may : with_digests(may)))
            p.piece_fields[field] = v;
    });
}

// JSON and XML: pieces may have several files.
void read_tree_keys(Section& s, PackageRule& p) {
    s.table("release", Need::must,
            [&](Section& r) { p.release_fields = read_mapping(r, p.form, {"pieces"}, of_release); });
    s.table("piece", Need::must, [&](Section& r) {
        const std::vector<std::string> may = {"name", "box", "region", "version", "issues"};
        p.piece_fields = r.has("files")
                             ? read_mapping(r, p.form, {"files"}, may)
                             : read_mapping(r, p.form, {"file"},
                                            with_digests({"name", "box", "region", "version", "issues", "size"}));
    });
    if (!p.piece_fields.contains("files"))
        return s.not_here("file", "the mapping of [package.piece] has no list of files");
    s.table("file", Need::must,
            [&](Section& r) { p.file_fields = read_mapping(r, p.form, {"path"}, with_digests({"size"})); });
}

}  // namespace

void read_package(Section& top, Family& f) {
    top.table("package", Need::may, [&](Section& s) {
        PackageRule p;
        p.index = s.text("index", Need::must);
        p.form = s.word("form", Need::must, {"json", "xml", "csv", "tsv", "ini", "digest-list", "cyclonedx"});
        if (p.form == "csv") {
            const std::string separator = s.text("separator", Need::may);
            if (separator.size() > 1 || separator == "\"" || separator == "\n" || separator == "#")
                s.log().mistake(s.at("separator"), "is \"" + separator + "\"; one character was expected",
                                "write the character that stands between two cells");
            else if (!separator.empty())
                p.separator = separator[0];
        }
        if (p.form == "csv" || p.form == "tsv") p.columns = s.texts("columns", Need::may);
        s.table("signature", Need::may, [&](Section& g) { read_signature(g, p); });
        p.path_pattern = s.text("path_pattern", Need::may);
        check_path_pattern(s, p);
        read_always(s, p);
        if (p.form == "digest-list")
            read_digest_list_keys(s, p);
        else if (p.form == "json" || p.form == "xml")
            read_tree_keys(s, p);
        else
            read_flat_keys(s, p);
        check_told(s, p);
        f.package = std::move(p);
    });
}

}  // namespace fettle::family
