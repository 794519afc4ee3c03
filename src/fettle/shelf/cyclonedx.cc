// Field by field after ECMA-424 (CycloneDX 1.5): bomFormat, specVersion, serialNumber (urn:uuid, RFC 9562), version,
// metadata, components, dependencies, compositions. What the standard has no field for goes into properties, whose
// names begin with "fettle:".
#include "fettle/shelf/cyclonedx.h"

#include <fmt/core.h>

#include "fettle/base/digest.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"

namespace fettle::shelf {
namespace {

// The standard's names of digests; CRC-32 is none of them.
std::string_view algorithm(std::string_view name) {
    if (name == "sha256") return "SHA-256";
    if (name == "sha512") return "SHA-512";
    if (name == "sha1") return "SHA-1";
    if (name == "md5") return "MD5";
    return "";
}

json::object property(const std::string& name, const std::string& value) {
    return {{"name", "fettle:" + name}, {"value", value}};
}

json::array hashes(const std::map<std::string, std::string>& digests) {
    json::array out;
    for (const auto& [name, digest] : digests)
        if (!algorithm(name).empty()) out.push_back(json::object{{"alg", algorithm(name)}, {"content", digest}});
    return out;
}

// A UUID of version 8 (RFC 9562: of one's own making) out of the index's digest: the same release, the same number.
std::string serial_number(const Shelved& s) {
    std::string d = sha256_hex("fettle inventory " + s.family + " " + s.release.release + " " + s.release.index_sha256);
    d[12] = '8';
    d[16] = "89ab"[static_cast<unsigned>(d[16]) % 4];
    return fmt::format("urn:uuid:{}-{}-{}-{}-{}", d.substr(0, 8), d.substr(8, 4), d.substr(12, 4), d.substr(16, 4),
                       d.substr(20, 12));
}

json::object file_component(const std::string& above, const family::PieceFile& f, std::size_t number) {
    json::object out{
        {"type", "file"}, {"bom-ref", fmt::format("{}/file-{}", above, number)}, {"name", printable(f.path)}};
    if (json::array h = hashes(f.digests); !h.empty()) out["hashes"] = std::move(h);
    json::array properties = {property("bytes", std::to_string(f.size))};
    if (const auto crc = f.digests.find("crc32"); crc != f.digests.end())
        properties.push_back(property("crc32", crc->second));
    out["properties"] = std::move(properties);
    return out;
}

}  // namespace

std::string cyclonedx(const family::Family& family, const Shelved& s, const std::string& program_version) {
    const std::string root = "release";
    const std::string time = iso8601(s.added_at);
    json::array components, refs;
    std::size_t number = 0;
    for (const family::Piece& p : s.release.pieces) {
        const std::string ref = fmt::format("piece-{}", ++number);
        refs.emplace_back(ref);
        json::object c{{"type", "firmware"}, {"bom-ref", ref}, {"group", p.box}, {"name", printable(p.name)}};
        if (!p.version.empty()) c["version"] = printable(p.version);
        json::array properties = {property("box", p.box), property("region", p.region),
                                  property("bytes", std::to_string(p.bytes()))};
        for (const std::string& issue : p.issues) properties.push_back(property("issue", issue));
        if (p.files.size() == 1) {
            if (json::array h = hashes(p.files.front().digests); !h.empty()) c["hashes"] = std::move(h);
            properties.push_back(property("file", printable(p.files.front().path)));
        } else {
            json::array files;
            std::size_t nth = 0;
            for (const family::PieceFile& f : p.files) files.push_back(file_component(ref, f, ++nth));
            if (!files.empty()) c["components"] = std::move(files);
        }
        c["properties"] = std::move(properties);
        components.push_back(std::move(c));
    }
    json::object top{{"type", "firmware"},
                     {"bom-ref", root},
                     {"supplier", json::object{{"name", family.marque}}},
                     {"group", s.family},
                     {"name", family.words.empty() ? s.family : family.words},
                     {"version", printable(s.release.release)}};
    if (!s.release.index_sha256.empty()) {
        top["properties"] = json::array{property("index-file", printable(s.release.index_path)),
                                        property("index-sha256", s.release.index_sha256),
                                        property("package-sha256", s.slip.package_sha256)};
    }
    json::array about = {property("signature", std::string(words(s.signature))),
                         property("origin", s.signature == SignatureState::good ? "proven by the maker's signature"
                                                                                : "whole, origin not proven"),
                         property("from", printable(s.slip.from)), property("right", std::string(words(s.slip.right))),
                         property("index-only", s.index_only ? "yes" : "no")};
    for (const std::string& market : s.release.markets) about.push_back(property("market", printable(market)));
    json::object tool{{"type", "application"}, {"name", "Fettle"}, {"version", program_version}};
    const json::object bom{
        {"bomFormat", "CycloneDX"},
        {"specVersion", "1.5"},
        {"serialNumber", serial_number(s)},
        {"version", 1},
        {"metadata", json::object{{"timestamp", time},
                                  {"tools", json::object{{"components", json::array{std::move(tool)}}}},
                                  {"component", std::move(top)},
                                  {"properties", std::move(about)}}},
        {"components", std::move(components)},
        {"dependencies", json::array{json::object{{"ref", root}, {"dependsOn", refs}}}},
        {"compositions",
         json::array{json::object{{"aggregate", "complete"}, {"assemblies", json::array{json::string(root)}}}}}};
    return pretty(bom);
}

}  // namespace fettle::shelf
