"""The menu, and the way a code sticker's address leads to its machine."""

import streamlit as st

from dashboard.kit import parts
from dashboard.kit.menu import CHECK_IN, OWNER, PAGES

SHOWN = {
    page.address: st.Page(page.view, title=page.title, url_path=page.address, default=page is OWNER) for page in PAGES
}

page = st.navigation(list(SHOWN.values()), position="hidden")
if page == SHOWN[OWNER.address] and "machine" in st.query_params:
    st.switch_page(SHOWN[CHECK_IN.address], query_params=st.query_params.to_dict())
page.run()
with st.container(key="menu", horizontal=True):
    for other in SHOWN.values():
        st.page_link(other)
parts.drawn()
