// SPDX-License-Identifier: GPL-3.0-or-later
/// @file build_svg.h The pieces of a board's drawing. All places are in mm of paper, x to the right
/// and y down; on the board itself they count from its back left corner.
#ifndef TL_SHOW_BUILD_SVG_H
#define TL_SHOW_BUILD_SVG_H

#include "base/text.h"
#include "show/page.h"
#include "toneload/build.h"
#include "toneload/show.h"

#include <stdbool.h>
#include <stddef.h>

/// Capitals of common sans fonts are 0.70 to 0.73 of the size high: 2.2 mm at the least.
#define TL_DRAWN_TEXT 3.2
#define TL_DRAWN_ROW 4.5

enum { TL_DRAWN_LINES = 4 }; ///< at most, of a box's name

/// A name in a box, or the letter that stands for it.
typedef struct {
    char* lines[TL_DRAWN_LINES];
    size_t count;
    double size;
    bool upright;  ///< read from the right, bottom to top
    size_t letter; ///< from 1; 0: the name itself stands there
    tl_box area;
} tl_drawn_name;

typedef struct {
    const tl_build_box* box;
    tl_box body;
    tl_drawn_name name;
} tl_drawn_box;

/// A jack in the edge of a box, with the plug of a lead in it.
typedef struct {
    size_t lead;
    size_t box;
    tl_side side;
    tl_spot at;
    bool goes_in; ///< what the lead carries goes into the box here
    bool power;
    bool has_plug;
    tl_box plug;
    tl_box mark; ///< of the sign in the box's edge
} tl_drawn_jack;

typedef struct {
    const tl_build_lead* lead;
    tl_spot* way;  ///< corners, each to be rounded
    size_t count;  ///< 0: it is not drawn
    double radius; ///< of its corners, at most
    double aside;  ///< how far to the right of its way it is drawn, to be told from others
    tl_spot* line; ///< the same with its arcs as short straight pieces
    size_t line_count;
    tl_box bounds;  ///< of the line
    bool below;     ///< it lies below the deck
    bool stub;      ///< its other end is off the board: it ends in an arrow
    tl_side edge;   ///< of the board, which a stub crosses
    char* label;    ///< "to guitar"
    tl_box words;   ///< where that stands
    bool numbered;  ///< its number has a place
    tl_spot number; ///< the middle of its circle
    tl_spot points; ///< the place of its way that the number belongs to
} tl_drawn_lead;

/// A finding on the drawing.
typedef struct {
    const tl_build_finding* finding;
    tl_spot about; ///< what it points at
    tl_spot at;    ///< the middle of its triangle
} tl_drawn_warning;

/// Something that words and signs should not cover: by how much of them, times `weight`.
typedef struct {
    tl_box area;
    double weight;
} tl_drawn_obstacle;

/// A board as it is drawn at one scale.
typedef struct {
    const tl_build* build;
    double scale; ///< 4 for 1:4
    double width;
    double depth;
    tl_box reach; ///< of everything drawn
    tl_drawn_box* boxes;
    tl_drawn_jack* jacks;
    size_t jack_count;
    tl_drawn_lead* leads;
    tl_drawn_warning* warnings;
    size_t warning_count;
    size_t letters; ///< how many names stand in a key
    double number_radius;
    bool turned_labels; ///< of stubs at the left and right edge: they run along it
    tl_box front_words; ///< where "player's side" stands
    tl_drawn_obstacle* obstacles;
    size_t obstacle_count;
} tl_drawn_board;

/// Works out where everything is drawn at a scale; turned labels take less width.
tl_drawn_board tl_drawn_board_make(const tl_build* build, double scale, bool turned_labels);
void tl_drawn_board_free(tl_drawn_board* board);
/// Adds the board as SVG elements.
void tl_drawn_board_add(tl_text* page, const tl_drawn_board* board, const char* prefix);

/// Whether a place is on the board or not far from it; what is not, is not drawn.
bool tl_drawn_is_near(const tl_build* build, tl_spot_m spot);

// Steps of tl_drawn_board_make(), a file each.

/// Ways of the leads, stubs of those that leave the board, and what shares a way side by side.
void tl_drawn_find_ways(tl_drawn_board* board);
/// Adds the way as path data, its corners as the arcs that the lead lies in.
void tl_drawn_add_way(tl_text* page, const tl_drawn_lead* lead);
/// Names of the boxes, or letters where a name has no room.
void tl_drawn_find_names(tl_drawn_board* board);
/// Numbers of the leads and triangles of the findings.
void tl_drawn_find_marks(tl_drawn_board* board);

/// Keeps others off an area.
void tl_drawn_keep_off(tl_drawn_board* board, tl_box area, double weight);
/// How much an area covers of what it should not: obstacles and leads but `own`; a lead below the
/// deck counts `below`, any other 4.
double tl_drawn_cost(const tl_drawn_board* board, tl_box area, size_t own, double below);
/// How long a line is inside an area.
double tl_drawn_inside(tl_spot from, tl_spot to, tl_box area);
/// Widens a box so that it holds another.
void tl_drawn_widen(tl_box* box, tl_box other);
tl_box tl_drawn_around(tl_spot middle, double width, double height);
/// One step towards a side: on paper the front is down.
tl_spot tl_drawn_toward(tl_side side);
/// How wide words come out in letters of a size, at most.
double tl_drawn_width(const char* words, double size);
/// Adds words in one line; `anchor` is "start", "middle" or "end", `at` the middle of their height.
void tl_drawn_add_words(tl_text* page, tl_spot at, const char* anchor, double size,
                        const char* words);
/// "A" to "Z", "AA", ..; free with free().
char* tl_drawn_letter(size_t letter);
/// Adds a triangle with a number in it, half as wide as it says.
void tl_drawn_add_triangle(tl_text* page, tl_spot middle, size_t number);
double tl_drawn_triangle_half(size_t number);
/// Adds a circle with a lead's number.
void tl_drawn_add_number(tl_text* page, tl_spot middle, double radius, const tl_build_lead* lead);

/// A list beside the board: rows of SVG elements, each drawn as if it began at 0, 0.
typedef struct {
    const char* name;
    char* heading; ///< SVG elements; NULL: none
    char** rows;
    bool* goes_on; ///< a row that belongs to the one above it, on the same part of the list
    size_t count;
    double width;
    double row_height;
    bool whole;         ///< it may not be parted
    bool heads_columns; ///< each part of the list needs the heading
} tl_drawn_key;

/// The sheet as its title block states it.
typedef struct {
    const char* paper; ///< NULL: a room on a page
    double width;
    double height;
    double margin;
    bool landscape;
    size_t findings_most; ///< rows of findings that may be told
    bool cut_list;        ///< there is one
    bool list_elsewhere;  ///< on the same page
} tl_drawn_sheet;

tl_drawn_key tl_drawn_title(const tl_drawn_board* board, const tl_drawn_sheet* sheet);
tl_drawn_key tl_drawn_bar(const tl_drawn_board* board);
tl_drawn_key tl_drawn_legend(const tl_drawn_board* board);
tl_drawn_key tl_drawn_name_key(const tl_drawn_board* board);
tl_drawn_key tl_drawn_finding_key(const tl_drawn_board* board, size_t rows_most);
tl_drawn_key tl_drawn_cut_list(const tl_drawn_board* board);
void tl_drawn_key_free(tl_drawn_key* key);

/// Stroke of a lead by its kind, as attributes.
const char* tl_drawn_stroke(bool dc, bool below);
bool tl_drawn_is_dc(const tl_build_lead* lead);

#endif
