#include "fettle/shelf/release_json.h"

#include <algorithm>
#include <charconv>
#include <exception>

#include "fettle/base/json.h"
#include "fettle/shelf/pack.h"

namespace fettle::shelf {
namespace {

constexpr std::size_t largest_pieces = 256u << 20;

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
    const auto file = [](const family::PieceFile& f) {
        json::object digests;
        for (const auto& [name, digest] : f.digests) digests[name] = digest;
        return json::object{{"path", f.path}, {"size", f.size}, {"digests", std::move(digests)}};
    };
    return {{"name", p.name},
            {"box", p.box},
            {"region", p.region},
            {"version", p.version},
            {"files", list_as_json(p.files, file)},
            {"issues", texts_as_json(p.issues)}};
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

std::string outline_text(const family::Release& r) {
    json::object issues;
    for (const family::Piece& p : r.pieces) {
        json::value& letters = issues[p.box];
        if (!letters.is_array()) letters = json::array();
        const std::vector<std::string> mine = p.issues.empty() ? std::vector<std::string>{""} : p.issues;
        for (const std::string& letter : mine) {
            auto& list = letters.get_array();
            if (std::find(list.begin(), list.end(), json::value(letter)) == list.end()) list.emplace_back(letter);
        }
    }
    json::object o{{"family", r.family},
                   {"release", r.release},
                   {"markets", texts_as_json(r.markets)},
                   {"installs_from", r.installs_from},
                   {"counter", r.counter ? json::value(*r.counter) : json::value(nullptr)},
                   {"one_way_door", r.one_way_door},
                   {"cures", texts_as_json(r.cures)},
                   {"index_path", r.index_path},
                   {"index_sha256", r.index_sha256},
                   {"pieces", r.pieces.size()},
                   {"bytes", r.bytes()},
                   {"issues", std::move(issues)}};
    return json::serialize(o);
}

Result<Outline> outline_from(std::string_view text) {
    return read<Outline>(text, [](const json::value& v) {
        const json::object& o = v.as_object();
        Outline out;
        family::Release& r = out.release;
        r.family = o.at("family").as_string();
        r.release = o.at("release").as_string();
        r.markets = texts_from(o.at("markets"));
        r.installs_from = o.at("installs_from").as_string();
        if (!o.at("counter").is_null()) r.counter = o.at("counter").to_number<std::int64_t>();
        r.one_way_door = o.at("one_way_door").as_bool();
        r.cures = texts_from(o.at("cures"));
        r.index_path = o.at("index_path").as_string();
        r.index_sha256 = o.at("index_sha256").as_string();
        out.pieces = o.at("pieces").to_number<std::uint64_t>();
        out.bytes = o.at("bytes").to_number<std::uint64_t>();
        for (const auto& [box, letters] : o.at("issues").as_object())
            for (const std::string& letter : texts_from(letters)) out.issues[std::string(box)].insert(letter);
        return out;
    });
}

// Thousands of pieces weigh more in the catalogue than their bytes in the packs: so they stand there compressed, as
// "SIZE hex", or as plain JSON when they are few.
std::string pieces_text(const std::vector<family::Piece>& pieces) {
    std::string plain = json::serialize(list_as_json(pieces, piece_object));
    Buffer out;
    if (plain.size() < 4096 || Press().squeeze(as_bytes(plain), std::nullopt, out) != Form::zstd) return plain;
    return std::to_string(plain.size()) + " " + hex(out.view().subspan(record_head_bytes));
}

Result<std::vector<family::Piece>> pieces_from(std::string_view text) {
    std::string plain;
    if (!text.empty() && text.front() != '[') {
        const auto blank = text.find(' ');
        std::size_t size = 0;
        const auto end = std::from_chars(text.data(), text.data() + text.size(), size);
        const auto packed = blank == text.npos ? std::nullopt : unhex(text.substr(blank + 1));
        if (end.ec != std::errc() || !packed || size > largest_pieces) return damaged("its list of pieces");
        Bytes out(size);
        if (!Press().expand(Form::zstd, *packed, {}, out)) return damaged("its list of pieces");
        plain = as_text(out);
        text = plain;
    }
    return read<std::vector<family::Piece>>(text, [](const json::value& v) {
        std::vector<family::Piece> out;
        for (const json::value& p : v.as_array()) out.push_back(piece_from(p.as_object()));
        return out;
    });
}

std::string codes_text(const std::vector<std::string>& codes) {
    return json::serialize(texts_as_json(codes));
}

Result<std::vector<std::string>> codes_from(std::string_view text) {
    return read<std::vector<std::string>>(text, [](const json::value& v) { return texts_from(v); });
}

std::string judgement_text(const Judgement& judgement) {
    json::array out;
    for (const Reason& r : judgement.reasons)
        out.push_back(json::object{{"code", r.code},
                                   {"verdict", static_cast<int>(r.verdict)},
                                   {"text", r.text},
                                   {"where", r.where},
                                   {"rests_on", r.rests_on.words()}});
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
            r.rests_on = std::string(o.at("rests_on").as_string());
            j.add(std::move(r));
        }
        return j;
    });
}

}  // namespace fettle::shelf
