#include "placard_pdf.h"

#include <cairo-pdf.h>
#include <fmt/format.h>
#include <pango/pangocairo.h>

#include <memory>

namespace fettle::app {
namespace {

constexpr double pt_of_mm = 72 / 25.4;

cairo_status_t append(void* to, const unsigned char* bytes, unsigned int n) {
    static_cast<std::string*>(to)->append(reinterpret_cast<const char*>(bytes), n);
    return CAIRO_STATUS_SUCCESS;
}

struct Closer {
    void operator()(cairo_surface_t* s) const { cairo_surface_destroy(s); }
    void operator()(cairo_t* c) const { cairo_destroy(c); }
    void operator()(PangoLayout* l) const { g_object_unref(l); }
    void operator()(PangoFontDescription* f) const { pango_font_description_free(f); }
};
template <class T>
using Held = std::unique_ptr<T, Closer>;

void set_line(cairo_t* c, const ready::PlacardLine& line) {
    const Held<PangoLayout> layout(pango_cairo_create_layout(c));
    const Held<PangoFontDescription> font(pango_font_description_from_string("DejaVu Sans"));
    pango_font_description_set_absolute_size(font.get(), line.size_mm * pt_of_mm * PANGO_SCALE);
    if (line.bold) pango_font_description_set_weight(font.get(), PANGO_WEIGHT_BOLD);
    pango_layout_set_font_description(layout.get(), font.get());
    pango_layout_set_text(layout.get(), line.text.data(), static_cast<int>(line.text.size()));
    int width = 0, height = 0;
    pango_layout_get_size(layout.get(), &width, &height);
    const double left = line.centred ? width / 2.0 / PANGO_SCALE : 0;
    const double base = pango_layout_get_baseline(layout.get()) / static_cast<double>(PANGO_SCALE);
    cairo_move_to(c, line.x_mm * pt_of_mm - left, line.y_mm * pt_of_mm - base);
    pango_cairo_show_layout(c, layout.get());
}

}  // namespace

Result<std::string> placard_pdf(const ready::Placard& page) {
    std::string out;
    const Held<cairo_surface_t> surface(
        cairo_pdf_surface_create_for_stream(append, &out, page.w_mm * pt_of_mm, page.h_mm * pt_of_mm));
    {
        const Held<cairo_t> c(cairo_create(surface.get()));
        for (const ready::PlacardBar& b : page.bars) {
            cairo_rectangle(c.get(), b.x_mm * pt_of_mm, b.y_mm * pt_of_mm, b.w_mm * pt_of_mm, b.h_mm * pt_of_mm);
            cairo_set_line_width(c.get(), 0.5 * pt_of_mm);
            if (b.filled)
                cairo_fill(c.get());
            else
                cairo_stroke(c.get());
        }
        for (const ready::PlacardLine& line : page.lines) set_line(c.get(), line);
        cairo_show_page(c.get());
    }
    cairo_surface_finish(surface.get());
    const cairo_status_t status = cairo_surface_status(surface.get());
    if (status != CAIRO_STATUS_SUCCESS || out.empty())
        return outside_error("pdf-not-made", "", cairo_status_to_string(status), "write it as .svg and print that");
    return out;
}

}  // namespace fettle::app
