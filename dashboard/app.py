"""The menu: eight pages, and the way a code sticker's address leads to its machine."""

import streamlit as st

from dashboard.kit import parts

OWNER = st.Page("views/owner.py", title="Roundsheet", url_path="", default=True)
CHECK_IN = st.Page("views/checkin.py", title="Check-in", url_path="checkin")
ROUND = st.Page("views/round.py", title="Round", url_path="round")
STORES = st.Page("views/stores.py", title="Stores", url_path="stores")
PLAN = st.Page("views/plan.py", title="Plan", url_path="plan")
UPKEEP = st.Page("views/upkeep.py", title="Upkeep", url_path="upkeep")
REVIEW = st.Page("views/review.py", title="Review", url_path="review")
DOWNLOADS = st.Page("views/downloads.py", title="Downloads", url_path="downloads")
PAGES = [OWNER, CHECK_IN, ROUND, STORES, PLAN, UPKEEP, REVIEW, DOWNLOADS]

page = st.navigation(PAGES, position="hidden")
if page == OWNER and "machine" in st.query_params:
    st.switch_page(CHECK_IN, query_params=st.query_params.to_dict())
page.run()
with st.container(key="menu", horizontal=True):
    for other in PAGES:
        st.page_link(other)
parts.drawn()
