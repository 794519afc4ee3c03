// XML: elements that repeat beside each other are the records of a table. A document type is refused, and nothing
// outside the text is read (as in the family's own reader of indexes).
#include <map>
#include <pugixml.hpp>

#include "fettle/base/text.h"
#include "fettle/contact/forms.h"

namespace fettle::contact {
namespace {

constexpr std::size_t largest_xml = 16u << 20;
constexpr int deepest = 32;

std::string join_path(const std::string& at, const std::string& name) {
    return at.empty() ? name : at + "/" + name;
}

std::string own_text(const pugi::xml_node& node) {
    return std::string(trim(node.text().get()));
}

std::map<std::string, int> names_of(const pugi::xml_node& node) {
    std::map<std::string, int> out;
    for (const auto& child : node.children())
        if (child.type() == pugi::node_element) ++out[child.name()];
    return out;
}

class Walk {
public:
    explicit Walk(Reading& out) : out_(out) {}

    void top(const pugi::xml_node& node, const std::string& at, int depth) {
        if (depth > deepest) return;
        for (const auto& a : node.attributes())
            out_.scalars.push_back({join_path(at, "@" + std::string(a.name())), a.value()});
        const auto names = names_of(node);
        if (const std::string text = own_text(node); !text.empty())
            out_.scalars.push_back({at.empty() ? "." : at, text});
        for (const auto& child : node.children()) {
            if (child.type() != pugi::node_element) continue;
            const std::string here = join_path(at, child.name());
            if (names.at(child.name()) > 1)
                record(child, here, depth + 1);
            else
                top(child, here, depth + 1);
        }
    }

    void done() {
        for (auto& [address, table] : tables_) out_.tables.push_back(std::move(table));
    }

private:
    void record(const pugi::xml_node& node, const std::string& at, int depth) {
        Table& t = tables_[at];
        t.address = at;
        if (Rows(t).full()) return;
        Rows(t).begin();
        fields(node, t, "", at, depth);
    }

    void fields(const pugi::xml_node& node, Table& t, const std::string& field, const std::string& at, int depth) {
        if (depth > deepest) return;
        for (const auto& a : node.attributes()) Rows(t).set(join_path(field, "@" + std::string(a.name())), a.value());
        if (const std::string text = own_text(node); !text.empty()) Rows(t).set(field.empty() ? "." : field, text);
        const auto names = names_of(node);
        for (const auto& child : node.children()) {
            if (child.type() != pugi::node_element) continue;
            const std::string name = child.name();
            if (names.at(name) > 1)
                record(child, at + "/*/" + join_path(field, name), depth + 1);
            else
                fields(child, t, join_path(field, name), at, depth + 1);
        }
    }

    Reading& out_;
    std::map<std::string, Table> tables_;
};

}  // namespace

bool read_xml(std::string_view text, Reading& out) {
    const auto first = text.find_first_not_of(" \t\r\n\xef\xbb\xbf");
    if (first == std::string_view::npos || text[first] != '<' || text.size() > largest_xml) return false;
    pugi::xml_document document;
    if (!document.load_buffer(text.data(), text.size(), pugi::parse_default | pugi::parse_doctype, pugi::encoding_utf8))
        return false;
    for (const auto& child : document.children())
        if (child.type() == pugi::node_doctype) return false;
    out.form = "xml";
    Walk walk(out);
    walk.top(document.document_element(), "", 0);
    walk.done();
    return true;
}

}  // namespace fettle::contact
