#include "fettle/shelf/release_json.h"

#include <exception>

#include "fettle/base/json.h"

namespace fettle::shelf {
namespace {

json::array texts(const std::vector<std::string>& list) {
    json::array out;
    for (const std::string& t : list) out.emplace_back(t);
    return out;
}

std::vector<std::string> texts_from(const json::value& v) {
    std::vector<std::string> out;
    for (const json::value& t : v.as_array()) out.emplace_back(t.as_string());
    return out;
}

tl::unexpected<Error> damaged(const std::string& what) {
    return outside_error("shelf-damaged", "the shelf's catalogue", "a release's description cannot be read: " + what,
                         "keep the folder as it is and add the packages to a new shelf");
}

// Boost.JSON's as_…() and at() throw on another kind; here that means a damaged catalogue.
template <class T, class F>
Result<T> read(std::string_view text, F&& take) {
    auto parsed = parse_json(text, "the shelf's catalogue");
    if (!parsed) return damaged(parsed.error().problem);
    try {
        return take(*parsed);
    } catch (const std::exception& e) {
        return damaged(e.what());
    }
}

json::object piece_object(const family::Piece& p) {
    json::array files;
    for (const family::PieceFile& f : p.files) {
        json::object digests;
        for (const auto& [name, digest] : f.digests) digests[name] = digest;
        files.push_back(json::object{{"path", f.path}, {"size", f.size}, {"digests", std::move(digests)}});
    }
    return {{"name", p.name},
            {"box", p.box},
            {"region", p.region},
            {"version", p.version},
            {"files", std::move(files)},
            {"issues", texts(p.issues)}};
}

family::Piece piece_from(const json::object& o) {
    family::Piece p;
    p.name = o.at("name").as_string();
    p.box = o.at("box").as_string();
    p.region = o.at("region").as_string();
    p.version = o.at("version").as_string();
    p.issues = texts_from(o.at("issues"));
    for (const json::value& v : o.at("files").as_array()) {
        const json::object& f = v.as_object();
        family::PieceFile file;
        file.path = f.at("path").as_string();
        file.size = f.at("size").to_number<std::uint64_t>();
        for (const auto& [name, digest] : f.at("digests").as_object()) file.digests[name] = digest.as_string();
        p.files.push_back(std::move(file));
    }
    return p;
}

}  // namespace

std::string release_text(const family::Release& r) {
    json::array pieces;
    for (const family::Piece& p : r.pieces) pieces.push_back(piece_object(p));
    json::object o{{"family", r.family},
                   {"release", r.release},
                   {"markets", texts(r.markets)},
                   {"installs_from", r.installs_from},
                   {"counter", r.counter ? json::value(*r.counter) : json::value(nullptr)},
                   {"one_way_door", r.one_way_door},
                   {"cures", texts(r.cures)},
                   {"index_path", r.index_path},
                   {"index_sha256", r.index_sha256},
                   {"pieces", std::move(pieces)}};
    return json::serialize(o);
}

Result<family::Release> release_from(std::string_view text) {
    return read<family::Release>(text, [](const json::value& v) {
        const json::object& o = v.as_object();
        family::Release r;
        r.family = o.at("family").as_string();
        r.release = o.at("release").as_string();
        r.markets = texts_from(o.at("markets"));
        r.installs_from = o.at("installs_from").as_string();
        if (!o.at("counter").is_null()) r.counter = o.at("counter").to_number<std::int64_t>();
        r.one_way_door = o.at("one_way_door").as_bool();
        r.cures = texts_from(o.at("cures"));
        r.index_path = o.at("index_path").as_string();
        r.index_sha256 = o.at("index_sha256").as_string();
        for (const json::value& p : o.at("pieces").as_array()) r.pieces.push_back(piece_from(p.as_object()));
        return r;
    });
}

std::string judgement_text(const Judgement& judgement) {
    json::array out;
    for (const Reason& r : judgement.reasons)
        out.push_back(json::object{{"code", r.code},
                                   {"verdict", static_cast<int>(r.verdict)},
                                   {"text", r.text},
                                   {"where", r.where},
                                   {"rests_on", r.rests_on}});
    return json::serialize(out);
}

Result<Judgement> judgement_from(std::string_view text) {
    return read<Judgement>(text, [](const json::value& v) {
        Judgement j;
        for (const json::value& item : v.as_array()) {
            const json::object& o = item.as_object();
            Reason r;
            r.code = o.at("code").as_string();
            const auto verdict = o.at("verdict").to_number<int>();
            if (verdict < 0 || verdict > 3) throw std::out_of_range("verdict");
            r.verdict = static_cast<Verdict>(verdict);
            r.text = o.at("text").as_string();
            r.where = o.at("where").as_string();
            r.rests_on = o.at("rests_on").as_string();
            j.add(std::move(r));
        }
        return j;
    });
}

}  // namespace fettle::shelf
