// The XML form. The mapping's values are paths of element names from the outside in, as in XPath's short form:
// "meta/version", "@size" for an attribute, "." for the element's own text. Nothing outside the document is ever read,
// and a document type is refused: it could give texts other meanings than the ones that stand there.
#include <fmt/core.h>

#include <algorithm>
#include <pugixml.hpp>

#include "fettle/base/text.h"
#include "fettle/family/index_raw.h"

namespace fettle::family {
namespace {

constexpr std::size_t largest_xml = 16u << 20;  // its tree takes up to sixteen times as much

class XmlReader {
public:
    XmlReader(std::string_view text, Faults& faults) : faults_(faults) {
        for (std::size_t at = 0; (at = text.find('\n', at)) != std::string_view::npos; ++at) lines_.push_back(at);
    }

    std::string place_of(const pugi::xml_node& node) const {
        return fmt::format("line {} <{}>", line(node.offset_debug()), node.name());
    }
    std::size_t line(std::ptrdiff_t offset) const {
        const auto at = static_cast<std::size_t>(std::max<std::ptrdiff_t>(0, offset));
        return static_cast<std::size_t>(std::lower_bound(lines_.begin(), lines_.end(), at) - lines_.begin()) + 1;
    }

    // All elements that the path's names lead to, in the document's order.
    static std::vector<pugi::xml_node> elements(const pugi::xml_node& from, const std::vector<std::string>& names) {
        std::vector<pugi::xml_node> at = {from};
        for (const std::string& name : names) {
            if (name == ".") continue;
            std::vector<pugi::xml_node> next;
            for (const pugi::xml_node& node : at)
                for (const pugi::xml_node& child : node.children(name.c_str())) next.push_back(child);
            at = std::move(next);
        }
        return at;
    }

    RawItem item(const pugi::xml_node& node, const std::map<std::string, std::string>& mapping) {
        RawItem out;
        out.place = place_of(node);
        for (const auto& [field, path] : mapping) {
            if (field == "pieces" || field == "files") continue;
            std::vector<std::string> names = split(path, '/');
            std::string attribute;
            if (names.back().starts_with('@')) {
                attribute = names.back().substr(1);
                names.pop_back();
            }
            std::vector<Raw> found;
            for (const pugi::xml_node& at : elements(node, names)) {
                const std::string place = fmt::format("{} {}", place_of(at), attribute.empty() ? "" : "@" + attribute);
                if (attribute.empty()) {
                    found.push_back({RawKind::plain, text_of(at, place), {}, place});
                    continue;
                }
                const pugi::xml_attribute a = at.attribute(attribute.c_str());
                if (!a) continue;
                for (pugi::xml_attribute b = a.next_attribute(); b; b = b.next_attribute())
                    if (attribute == b.name()) faults_.add(place, "stands twice in the element");
                found.push_back({RawKind::plain, a.value(), {}, place});
            }
            if (found.size() == 1)
                out.fields[field] = std::move(found.front());
            else if (found.size() > 1)
                out.fields[field] = {RawKind::list, "", std::move(found), out.place + " " + path};
        }
        return out;
    }

private:
    std::string text_of(const pugi::xml_node& node, const std::string& place) {
        std::string out;
        for (const pugi::xml_node& child : node.children()) {
            if (child.type() == pugi::node_element) {
                faults_.add(place, fmt::format("holds <{}>; a text was expected", child.name()));
                break;
            }
            out += child.value();
        }
        return std::string(trim(out));
    }

    std::vector<std::size_t> lines_;  // offsets of the line feeds
    Faults& faults_;
};

}  // namespace

RawIndex read_xml_index(const PackageRule& rule, std::string_view text, Faults& faults) {
    RawIndex out;
    out.between.assign(1, ' ');
    XmlReader reader(text, faults);
    pugi::xml_document document;
    if (text.size() > largest_xml) {
        faults.add(rule.index, fmt::format("is larger than {}", human_bytes(largest_xml)));
        return out;
    }
    if (!is_utf8(text)) {
        faults.add(rule.index, "is not UTF-8");
        return out;
    }
    if (text.find('\0') != std::string_view::npos) {
        faults.add(rule.index, "holds a NUL");
        return out;
    }
    const auto flags = pugi::parse_default | pugi::parse_doctype;
    const auto parsed = document.load_buffer(text.data(), text.size(), flags, pugi::encoding_utf8);
    if (!parsed) {
        faults.add(fmt::format("{} line {}", rule.index, reader.line(parsed.offset)),
                   fmt::format("is no XML from there on: {}", parsed.description()));
        return out;
    }
    std::size_t roots = 0;
    for (const pugi::xml_node& node : document.children()) {
        if (node.type() == pugi::node_doctype) {
            faults.add(rule.index, "has a document type (<!DOCTYPE); such documents are not read");
            return out;
        }
        if (node.type() == pugi::node_element) ++roots;
    }
    if (roots != 1) {
        faults.add(rule.index, fmt::format("has {} outermost elements; one was expected", roots));
        return out;
    }
    const pugi::xml_node root = document.document_element();
    out.release = reader.item(root, rule.release_fields);
    const auto pieces = rule.release_fields.find("pieces");
    if (pieces == rule.release_fields.end()) return out;
    const auto found = XmlReader::elements(root, split(pieces->second, '/'));
    const std::string at = out.release.place + " " + pieces->second;
    if (found.empty()) faults.add(at, "is missing; at least one was expected");
    if (found.size() > most_pieces) {
        faults.add(at, fmt::format("stands {} times; at most {} are read", found.size(), most_pieces));
        return out;
    }
    const auto files = rule.piece_fields.find("files");
    for (const pugi::xml_node& node : found) {
        RawItem piece = reader.item(node, rule.piece_fields);
        if (files != rule.piece_fields.end()) {
            piece.several_files = true;
            for (const pugi::xml_node& file : XmlReader::elements(node, split(files->second, '/')))
                piece.files.push_back(reader.item(file, rule.file_fields));
            if (piece.files.empty()) faults.add(piece.place + " " + files->second, "is missing; a file was expected");
        }
        out.pieces.push_back(std::move(piece));
    }
    return out;
}

}  // namespace fettle::family
