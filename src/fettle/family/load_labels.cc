// Sections family, box, pair, view, release: who the boxes are and which releases are known.
#include "fettle/family/load_parts.h"

namespace fettle::family {
namespace {

LabelRule read_label_rule(Section& s) {
    LabelRule out;
    out.pattern = s.text("pattern", Need::must);
    s.table("check", Need::may, [&](Section& c) {
        CheckRule rule;
        rule.method = c.word("method", Need::must, {"iso7064-mod11-2"});
        rule.over = c.texts("over", Need::must);
        out.check = rule;
    });
    s.table("values", Need::may, [&](Section& v) {
        v.each([&](const std::string& field, const Node&) { out.values[field] = v.text_map(field, Need::may); });
    });
    out.likely = s.texts("likely", Need::may);
    out.examples = s.texts("examples", Need::must);
    out.counter_examples = s.texts("counter_examples", Need::may);
    out.reach = s.text("reach", Need::may);
    return out;
}

}  // namespace

void read_head(Section& top, Family& f) {
    top.table("family", Need::must, [&](Section& s) {
        f.id = s.text("id", Need::must);
        f.marque = s.text("marque", Need::must);
        f.words = s.text("words", Need::must);
        f.level = s.word("level", Need::must, {"L0", "L1", "L2", "L3", "L4", "L5"});
        s.table("newest_known", Need::may, [&](Section& n) {
            f.newest_release = n.text("release", Need::must);
            f.newest_as_of = n.date("as_of", Need::must);
        });
        s.table("version_order", Need::may, [&](Section& o) {
            f.order.rule = o.word("rule", Need::must, {"numeric", "semver", "debian", "list"});
            if (f.order.rule == "list")
                f.order.list = o.texts("list", Need::must);
            else
                o.not_here("list", "only rule = \"list\" has one");
            f.order.fields = o.texts("fields", Need::may);
        });
        f.refuses_older = s.truth("refuses_older");
        if (const auto v = s.number("settle_s", Need::may, {0, 86400})) f.settle_s = *v;
        f.primer = s.texts("primer", Need::may);
    });
}

void read_labels(Section& top, Family& f) {
    top.tables("box", Need::must, [&](Section& s) {
        Box b;
        b.role = s.text("role", Need::must);
        b.words = s.text("words", Need::must);
        b.kind = s.text("kind", Need::may);
        b.written_by = s.text("written_by", Need::may);
        b.supply = s.text("supply", Need::may);
        s.table("plate", Need::must, [&](Section& p) { b.plate = read_label_rule(p); });
        f.boxes.push_back(std::move(b));
    });
    top.tables("pair", Need::may, [&](Section& s) {
        PairRule p;
        p.text = s.text("rule", Need::must);
        p.when = s.word("when", Need::must, {"at rest", "under way"});
        f.pairs.push_back(std::move(p));
    });
    top.table("view", Need::may, [&](Section& s) { f.view = read_label_rule(s); });
}

void read_releases(Section& top, Family& f) {
    top.tables("release", Need::may, [&](Section& s) {
        KnownRelease r;
        r.release = s.text("release", Need::must);
        r.counter = s.integer("counter", Need::may, 0, std::numeric_limits<std::int64_t>::max());
        r.stepping_stone = s.truth("stepping_stone");
        r.one_way_door = s.truth("one_way_door");
        r.cures = s.texts("cures", Need::may);
        f.known.push_back(std::move(r));
    });
}

}  // namespace fettle::family
