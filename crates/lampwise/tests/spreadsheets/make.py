"""Makes the spreadsheets that `lampwise draft` is tried on: `python3 make.py` in this folder.

Written with openpyxl 3.1.5 and odfpy 1.4.1 from PyPI, which know nothing of the library that reads them. The files
are kept beside this script, so that the tests need no Python.
"""

import datetime
import zipfile

import odf.opendocument
import odf.table
import odf.text
import openpyxl

HEAD = ["Address", "Tag", "Description", "Type"]
POINTS = [
    ["X0", "S1", "start push button", "input"],
    ["X1", "B1", "lift is up, reed switch", "input"],
    ["X2", "B2", "lift is down, reed switch", "input"],
    ["Y0", "V1", "lift up, solenoid valve", "output"],
    # A tag that looks like a number.
    ["Y1", 17, "horn", "output"],
]
WHEN = datetime.datetime(2026, 11, 26, tzinfo=datetime.timezone.utc).replace(tzinfo=None)


def xlsx(name, fill):
    book = openpyxl.Workbook()
    book.properties.created = book.properties.modified = WHEN
    fill(book)
    book.save(name)


def two_sheets(book):
    sheet = book.active
    sheet.title = "Cover"
    sheet["B2"] = "Label lifter"
    sheet = book.create_sheet("IO points")
    sheet["B2"] = "List of points"
    for down, row in enumerate([HEAD, *POINTS]):
        for across, value in enumerate(row):
            sheet.cell(row=4 + down, column=2 + across, value=value)


def with_errors(book):
    sheet = book.active
    sheet.title = "Points"
    sheet.append(HEAD)
    for row in POINTS[:3]:
        sheet.append(row)
    # An error value where words are due, one in a column that nothing is taken from, and a row without an address.
    sheet["C3"] = "#REF!"
    sheet["C3"].data_type = "e"
    sheet["F4"] = "#N/A"
    sheet["F4"].data_type = "e"
    sheet.append([None, "H9", "lamp without an address"])


def empty(book):
    book.active.title = "Nothing"


def far_away(book):
    sheet = book.active
    sheet.title = "Far"
    sheet["A1"] = "X0"
    sheet["XFD1048576"] = "Y0"


def ods(name, sheets):
    book = odf.opendocument.OpenDocumentSpreadsheet()
    for title, rows in sheets:
        table = odf.table.Table(name=title)
        for row in rows:
            line = odf.table.TableRow()
            for value in row:
                cell = odf.table.TableCell(valuetype="string") if value is not None else odf.table.TableCell()
                if isinstance(value, int):
                    cell = odf.table.TableCell(valuetype="float", value=value)
                if value is not None:
                    cell.addElement(odf.text.P(text=str(value)))
                line.addElement(cell)
            table.addElement(line)
        book.spreadsheet.addElement(table)
    book.save(name)


def repeated(name):
    """One filled cell, said to stand in all columns of very many rows."""
    ods("plain.ods", [("Points", [["X0"]])])
    row = (
        '<table:table-row table:number-rows-repeated="1000000"><table:table-cell office:value-type="string" '
        'table:number-columns-repeated="16000"><text:p>X0</text:p></table:table-cell></table:table-row>'
    )
    with zipfile.ZipFile("plain.ods") as plain, zipfile.ZipFile(name, "w", zipfile.ZIP_DEFLATED) as made:
        for entry in plain.namelist():
            data = plain.read(entry)
            if entry == "content.xml":
                text = data.decode()
                begin, end = text.index("<table:table-row"), text.index("</table:table>")
                data = (text[:begin] + row * 40 + text[end:]).encode()
            made.writestr(entry, data)


if __name__ == "__main__":
    xlsx("points.xlsx", two_sheets)
    xlsx("errors.xlsx", with_errors)
    xlsx("empty.xlsx", empty)
    xlsx("far.xlsx", far_away)
    cover = ("Cover", [[], ["Label lifter"]])
    ods("points.ods", [cover, ("IO points", [[], [None, "List of points"], [], *[[None, *row] for row in [HEAD, *POINTS]]])])
    repeated("repeated.ods")
    import os

    os.remove("plain.ods")
